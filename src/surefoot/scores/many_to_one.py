"""Many configurations against one: the chance of the largest difference, and whether one spread may serve all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from surefoot.runs import Floats
from surefoot.scores.students_t import two_sided, upper

NODES = 48
OWN_AT_MOST = 0.3
PLAIN_ALPHA = 0.05


@lru_cache(maxsize=4)
def _nodes(count: int) -> tuple[Floats, Floats]:
    places, weights = np.polynomial.legendre.leggauss(count)
    return np.asarray(places), np.asarray(weights)


def tail(largest: float, comparisons: int, degrees: float, shares: Sequence[float] | None = None) -> float:
    """The chance that the largest of several |t| against one baseline reaches ``largest``, where nothing differs.

    ``comparisons``: how many; ``degrees``: of the common spread, inf where it is known; ``shares``: for each, its runs
    over its and the baseline's together (a half each when None: equally many), which is the part of the difference's
    variance that is the baseline's. Dunnett 1955, Journal of the American
    Statistical Association 50: given the baseline's mean and the spread, the comparisons are independent, which leaves
    two integrals, here by Gauss and Legendre. Never below the chance of one comparison, nor above the sum over all.
    """
    if largest <= 0:
        return 1.0
    kept = np.full(comparisons, 0.5) if shares is None else np.asarray(shares, dtype=np.float64)
    return float(tail_at(np.array([largest]), comparisons, degrees, kept)[0])


def tail_at(largest: Floats, comparisons: int, degrees: float, shares: Floats) -> Floats:
    """`tail` at several places, shape (n,), each above 0."""
    from scipy import special

    one = two_sided(largest, degrees)
    if comparisons == 1:
        return np.minimum(1.0, one)
    places, weights = _nodes(NODES)
    z, z_weights = 8.5 * places, 8.5 * weights * np.exp(-0.5 * (8.5 * places) ** 2) / math.sqrt(2 * math.pi)
    if math.isinf(degrees):
        spread, spread_weights = np.ones(1), np.ones(1)
    else:
        # Over the quantiles of the spread, the small ones spaced closer: there a large t comes from.
        u = (places + 1) / 2
        spread = np.sqrt(special.chdtri(degrees, 1 - u**3) / degrees)
        spread_weights = 1.5 * weights * u**2
    made = np.ones((largest.size, spread.size, z.size))
    reach = largest[:, None, None] * spread[:, None]
    for share, times in zip(*np.unique(shares, return_counts=True), strict=True):
        bend, rest = math.sqrt(share), math.sqrt(1 - share)
        inside = special.ndtr((reach - bend * z) / rest) - special.ndtr((-reach - bend * z) / rest)
        made *= inside ** int(times)
    outside = 1.0 - (made @ z_weights) @ spread_weights
    return np.asarray(np.minimum(np.minimum(np.maximum(outside, one), 1.0), comparisons * one), dtype=np.float64)


@lru_cache(maxsize=4096)
def critical(comparisons: int, degrees: float, alpha: float = 0.05, share: float = 0.5) -> float:
    """The |t| that the largest of several reaches with chance ``alpha`` where nothing differs; see `tail`."""
    from scipy import optimize

    low, high = upper(alpha / 2, degrees), upper(alpha / (2 * comparisons), degrees)
    if comparisons == 1:
        return low
    shares = [share] * comparisons
    return float(optimize.brentq(lambda t: tail(t, comparisons, degrees, shares) - alpha, low, high + 1e-9, xtol=1e-8))


@dataclass(frozen=True, slots=True)
class Reach:
    """What the interval of one of several differences rests on: how many it was corrected for, the common spread's
    standard error and degrees, the own spreads', how much of the level these are allowed, the ``share`` of a
    difference's variance that is the baseline's, and how much of the level the common spread is ``allowed``."""

    comparisons: int
    error: float
    degrees: float
    own_error: float = 0.0
    own_degrees: float = 1.0
    own_share: float = 1.0
    share: float = 0.5
    allowed: float = 1.0

    def half(self, level: float) -> float:
        """Half the interval, outside of which 0 lies where the corrected chance of error stays below ``level``."""
        common = critical(self.comparisons, self.degrees, min(0.9, level * self.allowed), self.share) * self.error
        if self.own_error <= 0:
            return common
        own = critical(self.comparisons, self.own_degrees, min(0.9, level * self.own_share)) * self.own_error
        return max(common, own)


def trust(runs: int) -> tuple[float, float, float]:
    """How readily one common spread is given up with so many independent runs a configuration: a rule of ours.

    Returns the chances below which the baseline's and another's own runs are said to vary more than the rest (F test,
    one-sided), and the largest corrected chance of error that a difference may have by its own two spreads. With few
    runs spreads cannot be told apart, so that the first are large there. Set by simulation (tests/benchmarks/trial.py);
    `surefoot.scores.block_spreads` has the rules for runs taken in blocks.
    """
    return min(0.4, 6 / runs**3), min(0.15, 2 / runs**3), min(OWN_AT_MOST, 1.2 / runs)


class Tails(Protocol):
    """`tail` of many at once: t and degrees of shape (n,), ``shares`` of shape (n, comparisons)."""

    def __call__(self, t: Floats, comparisons: int, degrees: Floats, shares: Floats | None = None) -> Floats: ...


def exactly(t: Floats, comparisons: int, degrees: Floats, shares: Floats | None = None) -> Floats:
    """`tail` of each, by its integrals."""
    kept = [None] * t.size if shares is None else [row.tolist() for row in shares]
    each = zip(t.tolist(), degrees.tolist(), kept, strict=True)
    return np.array([tail(one, comparisons, max(1.0, free), share) for one, free, share in each])


@dataclass(frozen=True, slots=True)
class Corrected:
    """Chances of error of several differences to one baseline, for many data sets at once, shape (sets, m).

    ``raw``: alone; ``adjusted``: corrected for their number; ``left``: how many each was corrected for; ``allowed``,
    ``own_allowed``: how much of the level the common spread, and its own two spreads, are allowed.
    """

    raw: Floats
    adjusted: Floats
    left: np.ndarray
    allowed: Floats
    own_allowed: Floats


def corrected(
    differences: Floats,
    error: Floats,
    degrees: Floats,
    own_error: Floats,
    own_degrees: Floats,
    own_allowed: Floats,
    *,
    order: np.ndarray | None = None,
    shares: Floats | None = None,
    one_share: bool = False,
    allowed: Floats | None = None,
    tails: Tails = exactly,
) -> Corrected:
    """Correct many-to-one, shape (sets, m) each: ``differences``, their ``error`` and ``degrees`` by a common spread.

    ``own_error``, ``own_degrees``: by the two configurations' own spreads alone; ``own_allowed``: how many times the
    level these may reach, ``allowed``: likewise the common spread (1 when None); ``order``: in which they are stepped
    through (the largest |t| first when None); ``shares``: of a difference's variance that is the baseline's, see
    `tail`; ``one_share``: whether that of the one judged holds for all that are left; ``tails``: exact, or from tables.
    Step-down from the largest |t| (closed testing: Marcus, Peritz and Gabriel 1976, Biometrika 63; as Holm's, with
    Dunnett's distribution in place of Bonferroni's bound).
    """
    sets, m = differences.shape
    t = np.abs(differences) / error
    own_t = np.abs(differences) / own_error
    raw = two_sided(t, degrees)
    times = np.ones((sets, m)) if allowed is None else allowed
    order = np.argsort(-t, axis=1, kind="stable") if order is None else order
    made = np.ones((sets, m))
    left = np.ones((sets, m), dtype=int)
    so_far = np.zeros(sets)
    rows = np.arange(sets)
    for place in range(m):
        at = order[:, place]
        kept = None
        if shares is not None:
            here = np.repeat(at[:, None], m - place, axis=1) if one_share else order[:, place:]
            kept = np.take_along_axis(shares, here, axis=1)
        common = tails(t[rows, at], m - place, degrees[rows, at], kept) / times[rows, at]
        alone = tails(own_t[rows, at], m - place, own_degrees[rows, at])
        # So that at 5 % both hold: the common spread's answer, and the own spreads' at their own limit.
        own = np.minimum(1.0, alone / own_allowed[rows, at])
        so_far = np.maximum.reduce([so_far, common, own, raw[rows, at]])
        made[rows, at] = so_far
        left[rows, at] = m - place
    return Corrected(raw, made, left, times, own_allowed)


def reaches(
    found: Corrected, error: Floats, degrees: Floats, own_error: Floats, own_degrees: Floats, share: Floats
) -> tuple[Reach, ...]:
    """How far the intervals of one data set reach, each of shape (m,); ``found``: of that set alone."""
    return tuple(
        Reach(
            int(found.left[0, i]),
            float(error[i]),
            float(degrees[i]),
            float(own_error[i]),
            max(1.0, round(float(own_degrees[i]), 1)),
            float(found.own_allowed[0, i]),
            float(share[i]),
            float(found.allowed[0, i]),
        )
        for i in range(error.size)
    )
