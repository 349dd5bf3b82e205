"""Hazard regression with a flat prior: the search's own likelihood, fitted by Newton's method.

log hazard = X b; a held run, a failure at a known time and a failure found some time before are told apart as in
`likelihood.py`. With every exposure 1 and failures untimed it is complementary log-log regression; with timed
failures it is exponential life regression.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from surefoot.errors import BadInput
from surefoot.search.likelihood import log_likelihood, score_and_curvature

Floats = NDArray[np.float64]
_MOST_STEPS = 100


@dataclass(frozen=True, eq=False)
class HazardFit:
    """A fit: ``coefficients`` and ``standard_errors`` of shape (p,), and the log likelihood reached."""

    coefficients: Floats
    standard_errors: Floats
    log_likelihood: float


def fit_hazard(
    design: ArrayLike,
    hours: ArrayLike,
    failed: ArrayLike,
    timed: ArrayLike = True,
    weights: ArrayLike = 1.0,
) -> HazardFit:
    """Most likely coefficients of the log hazard.

    ``design``: shape (n, p), a column of ones included where a constant is wanted; ``hours``, ``failed``, ``timed``,
    ``weights`` (how many runs ended so): shape (n,). Standard errors are from the observed information. Raises
    BadInput when shapes differ or the likelihood has no maximum (nothing failed, or failures and passes separate).
    """
    x = np.asarray(design, dtype=np.float64)
    if x.ndim != 2:
        raise BadInput("the design must be a table, one row a run.", where="hazard regression")
    try:
        t = np.broadcast_to(np.asarray(hours, dtype=np.float64), x.shape[:1])
        f = np.broadcast_to(np.asarray(failed, dtype=bool), x.shape[:1])
        known = np.broadcast_to(np.asarray(timed, dtype=bool), x.shape[:1])
        w = np.broadcast_to(np.asarray(weights, dtype=np.float64), x.shape[:1])
    except ValueError:
        raise BadInput(f"the columns do not all have {x.shape[0]} rows.", where="hazard regression") from None
    if not f.any() or not t.sum() > 0:
        raise BadInput("nothing failed, so the hazard has no most likely value.", where="hazard regression")
    # Columns are centred and scaled by QR: log10 doses near 1.8 and a constant are nearly one direction.
    q, r = np.linalg.qr(x)
    constant = np.log(w[f].sum() / (w * t).sum())
    beta = np.linalg.lstsq(q, np.full(x.shape[0], constant), rcond=None)[0]
    value = _total(q @ beta, t, f, known, w)
    for _ in range(_MOST_STEPS):
        first, second = score_and_curvature(np.exp(q @ beta), t, f, known)
        information = -(q * (w * second)[:, None]).T @ q
        step = np.linalg.lstsq(information, q.T @ (w * first), rcond=None)[0]
        size = 1.0
        tried = _total(q @ (beta + step), t, f, known, w)
        while tried < value - 1e-12 and size > 1e-8:
            size /= 2.0
            tried = _total(q @ (beta + size * step), t, f, known, w)
        beta = beta + size * step
        moved, value = abs(tried - value), tried
        if moved < 1e-12 * (1.0 + abs(value)) and np.abs(step).max() < 1e-8 * (1.0 + np.abs(beta).max()):
            break
    else:
        raise BadInput("the likelihood has no maximum: failures and passes separate.", where="hazard regression")
    first, second = score_and_curvature(np.exp(q @ beta), t, f, known)
    inverse = np.linalg.inv(r)
    covariance = inverse @ np.linalg.inv(-(q * (w * second)[:, None]).T @ q) @ inverse.T
    return HazardFit(np.asarray(inverse @ beta), np.sqrt(np.diag(covariance)), value)


def _total(log_hazard: Floats, t: Floats, f: NDArray[np.bool_], known: NDArray[np.bool_], w: Floats) -> float:
    with np.errstate(over="ignore"):
        return float((w * log_likelihood(np.exp(np.clip(log_hazard, -300, 300)), t, f, known)).sum())
