"""Many configurations against one: the chance of the largest difference, and whether one spread may serve all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

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
    over its and the baseline's together (a half each when None: equally many). Dunnett 1955, Journal of the American
    Statistical Association 50: given the baseline's mean and the spread, the comparisons are independent, which leaves
    two integrals, here by Gauss and Legendre. Never below the chance of one comparison, nor above the sum over all.
    """
    from scipy import special

    one = float(two_sided(largest, degrees))
    if comparisons == 1 or largest <= 0:
        return min(1.0, one) if largest > 0 else 1.0
    places, weights = _nodes(NODES)
    z, z_weights = 8.5 * places, 8.5 * weights * np.exp(-0.5 * (8.5 * places) ** 2) / math.sqrt(2 * math.pi)
    if math.isinf(degrees):
        spread, spread_weights = np.ones(1), np.ones(1)
    else:
        # Over the quantiles of the spread, the small ones spaced closer: there a large t comes from.
        u = (places + 1) / 2
        spread = np.sqrt(special.chdtri(degrees, 1 - u**3) / degrees)
        spread_weights = 1.5 * weights * u**2
    made = np.ones((spread.size, z.size))
    found = np.full(comparisons, 0.5) if shares is None else np.asarray(shares, dtype=np.float64)
    for share, times in zip(*np.unique(found, return_counts=True), strict=True):
        bend, rest = math.sqrt(share), math.sqrt(1 - share)
        reach = largest * spread[:, None]
        inside = special.ndtr((reach - bend * z) / rest) - special.ndtr((-reach - bend * z) / rest)
        made *= inside ** int(times)
    outside = 1.0 - float(spread_weights @ (made @ z_weights))
    return float(min(max(outside, one), 1.0, comparisons * one))


@lru_cache(maxsize=4096)
def critical(comparisons: int, degrees: float, alpha: float = 0.05) -> float:
    """The |t| that the largest of several reaches with chance ``alpha`` where nothing differs; see `tail`."""
    from scipy import optimize

    low, high = upper(alpha / 2, degrees), upper(alpha / (2 * comparisons), degrees)
    if comparisons == 1:
        return low
    return float(optimize.brentq(lambda t: tail(t, comparisons, degrees) - alpha, low, high + 1e-9, xtol=1e-8))


@dataclass(frozen=True, slots=True)
class Reach:
    """What the interval of one of several differences rests on: how many it was corrected for, the common spread's
    standard error and degrees, the own spreads', and how much of the level these are allowed."""

    comparisons: int
    error: float
    degrees: float
    own_error: float = 0.0
    own_degrees: float = 1.0
    own_share: float = 1.0

    def half(self, level: float) -> float:
        """Half the interval, outside of which 0 lies where the corrected chance of error stays below ``level``."""
        common = critical(self.comparisons, self.degrees, level) * self.error
        if self.own_error <= 0:
            return common
        own = critical(self.comparisons, self.own_degrees, min(0.9, level * self.own_share)) * self.own_error
        return max(common, own)


def trust(runs: int) -> tuple[float, float, float]:
    """How readily one common spread is given up with so many runs a configuration: a rule of ours.

    Returns the chances below which the baseline's and another's own runs are said to vary more than the rest (F test,
    one-sided), and the largest corrected chance of error that a difference may have by its own two spreads. With few
    runs spreads cannot be told apart, so that the first are large there. Set by simulation (tests/benchmarks/trial.py):
    spreads in ratios up to 3 keep about 5 %, equal spreads lose a few points of power.
    """
    return min(0.4, 6 / runs**3), min(0.15, 2 / runs**3), min(OWN_AT_MOST, 1.2 / runs)


def corrected(
    differences: Floats,
    common_error: Floats,
    common_degrees: float,
    own_error: Floats,
    own_degrees: Floats,
    varies_more: Floats,
    runs: int,
    shares: Sequence[float] | None = None,
) -> tuple[Floats, Floats, list[Reach]]:
    """Chances of error of several differences to one baseline: alone, and corrected for their number.

    ``differences``, shape (m,); ``common_error``: standard errors by the spread common to all, with ``common_degrees``;
    ``own_error``, ``own_degrees``: by the two configurations' own spreads alone (Welch and Satterthwaite);
    ``varies_more``, shape (m + 1,), the baseline first: the chance (F test) that a configuration's runs vary so much
    more than the rest's. Step-down from the largest |t| (closed testing: Marcus, Peritz and Gabriel 1976, Biometrika
    63; as Holm's, with Dunnett's distribution in place of Bonferroni's bound). Returns raw and corrected, shape (m,),
    and for each how far its interval reaches.
    """
    baseline_limit, other_limit, own_limit = trust(runs)
    m = differences.size
    t = np.abs(differences) / common_error
    own_t = np.abs(differences) / own_error
    raw = two_sided(t, common_degrees)
    apart = (varies_more[0] < baseline_limit) | (varies_more[1:] < other_limit)
    order = np.argsort(-t, kind="stable")
    made = np.ones(m)
    so_far = 0.0
    reaches: dict[int, Reach] = {}
    for place, index in enumerate(order):
        left = m - place
        own_share = 1.0 if apart[index] else own_limit / PLAIN_ALPHA
        own_left = max(1.0, round(float(own_degrees[index]), 1))
        reaches[int(index)] = Reach(
            left, float(common_error[index]), common_degrees, float(own_error[index]), own_left, own_share
        )
        kept = None if shares is None else [shares[i] for i in order[place:]]
        common = tail(float(t[index]), left, common_degrees, kept)
        alone = tail(float(own_t[index]), left, max(1.0, float(own_degrees[index])))
        # So that at 5 % both hold: the common spread's answer, and the own spreads' at their own limit.
        own = alone / own_share
        so_far = max(so_far, common, min(1.0, own), float(raw[index]))
        made[index] = so_far
    return raw, made, [reaches[i] for i in range(m)]
