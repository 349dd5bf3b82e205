"""How likely a run's ending is at a hazard: the one likelihood that search, regression and several knobs share.

A run at hazard h (failures per hour) survives t hours with chance exp(-h t): a failure at a known time has density
h exp(-h t), one found some time before t has chance 1 - exp(-h t). With log h linear in covariates this is
complementary log-log regression with exposure as offset (Dobson and Barnett, An Introduction to Generalized Linear
Models, ch. 7) and exponential life regression (Lawless, Statistical Models and Methods for Lifetime Data, ch. 6).

Two allowances make it robust; both off (the defaults) it is exactly the above.

``spread``: variance of a gamma factor of mean 1 on the hazard, drawn anew each run (frailty: Vaupel, Manton and
Stallard 1979). Warmth, background work and the load's own mix differ between runs, so one long pass proves less
than its minutes say: survival is (1 + spread h t) ** (-1 / spread).

``stray``: chance that a failure was not the setting's doing, or was logged wrongly; its time then has a density
proportional to 1 / t, whatever the hazard.

Both keep the order that a claim needs: of two endings, a longer pass, and a pass instead of a failure, always favour
the smaller hazard more (the likelihood ratios are monotone in h).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# A failure's time is known to a heartbeat (10 s): the journal's last word before a crash. One that came sooner is one
# found some time within the first heartbeat: its density at 0 would say that a hazard of thousands an hour is unlikely.
SHORTEST_HOURS = 10.0 / 3600.0


def log_survival(hazard: ArrayLike, hours: ArrayLike, spread: float = 0.0) -> Floats:
    """Log chance to hold for ``hours`` at ``hazard`` (per hour); the arguments broadcast."""
    dose = np.asarray(hazard, dtype=np.float64) * np.asarray(hours, dtype=np.float64)
    if spread > 0:
        return np.asarray(-np.log1p(spread * dose) / spread)
    return -dose


def log_likelihood(
    hazard: ArrayLike,
    hours: ArrayLike,
    failed: ArrayLike,
    timed: ArrayLike = True,
    *,
    spread: float = 0.0,
    stray: float = 0.0,
) -> Floats:
    """Log likelihood of how runs ended; the arguments broadcast against one another.

    ``hazard``: per hour, > 0; ``hours``: under load, to the end or to the failure; ``failed``, ``timed``: booleans
    (``timed`` False: it failed some time before ``hours``). A timed failure is a density per hour.
    """
    hazard = np.asarray(hazard, dtype=np.float64)
    failed = np.asarray(failed, dtype=bool)
    timed = np.asarray(timed, dtype=bool)
    hours = np.asarray(hours, dtype=np.float64)
    timed = timed & (hours >= SHORTEST_HOURS)
    hours = np.where(failed, np.maximum(hours, SHORTEST_HOURS), hours)
    held = log_survival(hazard, hours, spread)
    if not failed.any():
        return held
    with np.errstate(divide="ignore"):
        # Frailty: density h (1 + spread h t) ** (-1/spread - 1), which is the survival less one log1p.
        at_time = np.log(hazard) + held - (np.log1p(spread * hazard * hours) if spread > 0 else 0.0)
        before = np.log(-np.expm1(held))
        if stray > 0:
            at_time = np.logaddexp(np.log1p(-stray) + at_time, np.log(stray) - np.log(hours))
            before = np.logaddexp(np.log1p(-stray) + before, np.log(stray))
    return np.asarray(np.where(failed, np.where(timed, at_time, before), held))


def score_and_curvature(
    hazard: ArrayLike, hours: ArrayLike, failed: ArrayLike, timed: ArrayLike = True
) -> tuple[Floats, Floats]:
    """First and second derivative of `log_likelihood` (no allowances) by the log of the hazard, for a Newton step."""
    failed = np.asarray(failed, dtype=bool)
    timed = np.asarray(timed, dtype=bool)
    dose = np.maximum(np.asarray(hazard, dtype=np.float64) * np.asarray(hours, dtype=np.float64), 1e-300)
    odds = dose / np.expm1(np.minimum(dose, 700.0))
    first = np.where(failed, np.where(timed, 1.0 - dose, odds), -dose)
    second = np.where(failed & ~timed, odds - odds * (odds + dose), -dose)
    return first, second
