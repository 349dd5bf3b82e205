"""Whether one spread may serve all configurations of a trial, and what is used where it may not."""

from __future__ import annotations

import numpy as np

from surefoot.runs import Floats

SHARES = (0.5, 0.65, 0.8, 0.9)
"""Parts of a difference's variance that are the baseline's, of those that are told apart: the larger, the more alike
are the differences of one trial, and the less must be allowed for their number."""

# Rules of ours, set together by simulation so that null trials with spreads in ratios up to 4 show a difference in at
# most 6 %, and those with equal spreads in at most 5 % (tests/benchmarks/trial.py, with seeds other than its own).
BASELINE_LIMIT = 0.25
"""Chance (F test) below which the baseline counts as varying more than the rest."""
STANDS_AT = 0.002
"""Chance below which a configuration stands apart from the others left, see `stand_apart`."""
ALLOWED_APART = 1.5
"""How many times the level the common spread may reach where a configuration stands apart: what the guards against
unequal spreads take from the chance of error of equal ones, given back where they have least to guard against."""


def spreads_apart(blocks: int) -> tuple[float, float]:
    """The chances (F test) below which the baseline, and another configuration, count as varying more than the rest."""
    return max(BASELINE_LIMIT, min(0.36, 1.05 / blocks)), min(0.33, 3 / blocks**3)


def own_at_most(blocks: int) -> float:
    """The largest corrected chance of error that a difference may have by its own two spreads alone: a rule of ours."""
    return min(0.3, max(0.24, 1.2 / blocks))


def stand_apart(differences: Floats, order: np.ndarray, among: Floats, blocks: int) -> np.ndarray:
    """Whether each configuration differs from the others that are left to judge, and not from the baseline alone.

    ``differences`` to the baseline and their ``order``, the largest first, shape (trials, m); ``among``: the variance
    of a run among all but the baseline, shape (trials,). Step by step the largest left is held against the mean of the
    rest left, on the side on which it differs from the baseline, at `STANDS_AT` for as many as are left. Where it
    stands apart, the difference is its own doing, and a baseline that varies more than the rest has not made it: that
    shifts all alike. Only what is left is looked at, so that a step rests on nothing that a real difference among those
    before it could have made (closed testing, as in `corrected`). The last one left has none to be held against.
    """
    from scipy import special

    trials, m = differences.shape
    made = np.zeros((trials, m), dtype=bool)
    rows = np.arange(trials)
    rest = differences.sum(axis=1)
    for place in range(m - 1):
        at = order[:, place]
        one, left = differences[rows, at], m - place
        rest = rest - one
        further = np.sign(one) * (one - rest / (left - 1))
        error = np.sqrt(np.maximum(among, 1e-300) * (1 + 1 / (left - 1)) / blocks)
        made[rows, at] = left * special.stdtr((blocks - 1) * (m - 1), -further / error) <= STANDS_AT
    return made


def baseline_apart(squares: Floats, blocks: int) -> tuple[Floats, Floats, Floats, Floats]:
    """The variance of one difference where the baseline has a spread of its own and the others share one.

    ``squares``: sums of squared residuals, shape (..., many), the baseline first, many at least 3. The residuals fall
    into those of the baseline against the others' mean and those of the others among themselves, which are
    independent. Returns the variance, its Satterthwaite degrees (1946, Biometrics Bulletin 2), and how much of it is
    the baseline's, at least a half and rounded down to one of `SHARES`, and the variance of a run among the others,
    each of shape (...,).
    """
    many = squares.shape[-1]
    m = many - 1
    against = squares[..., 0] * (many / m) ** 2
    among = np.maximum(squares.sum(axis=-1) - squares[..., 0] * many / m, 0.0)
    one = np.maximum(against / (blocks - 1), 1e-300)
    other = (1 - 1 / m) * among / ((blocks - 1) * (m - 1))
    weight = one / (one + other)
    degrees = (blocks - 1) / (weight**2 + (1 - weight) ** 2 / (m - 1))
    its_own = 1 - (other / max(1 - 1 / m, 1e-9)) / (one + other)
    share = np.asarray(SHARES)[np.clip(np.searchsorted(SHARES, its_own, side="right") - 1, 0, None)]
    return one + other, degrees, share, among / ((blocks - 1) * (m - 1))


def own_spreads(squares: Floats, common: Floats | float, floor: float, blocks: int) -> tuple[Floats, Floats, Floats]:
    """What each configuration's own residuals say, ``squares`` being their sums, shape (..., many), many at least 3.

    Returns the variance of one difference to the first, its Satterthwaite degrees, shape (..., m), and for each of the
    configurations the chance (F test) that its runs vary so much more than the rest's, shape (..., m + 1). The
    variances are unbiased whatever the others' are (Grubbs 1948, Journal of the American Statistical Association 43).
    """
    from scipy import special

    many = squares.shape[-1]
    each = squares / (blocks - 1)
    total = squares.sum(axis=-1, keepdims=True)
    variances = (each - total / (blocks - 1) / (many * (many - 1))) * many / (many - 2)
    variances = np.maximum(variances, np.maximum(0.05 * np.asarray(common), floor))
    both = variances[..., 1:] + variances[..., :1]
    degrees = both**2 / (variances[..., 1:] ** 2 + variances[..., :1] ** 2) * (blocks - 1)
    # Without a configuration the table of the rest has this much less residual (one row less of the layout).
    alone = squares * many / (many - 1)
    rest = np.maximum(total - alone, 1e-300)
    ratio = (alone / (blocks - 1)) / (rest / ((blocks - 1) * (many - 2)))
    more = np.asarray(special.fdtrc(blocks - 1, (blocks - 1) * (many - 2), ratio), dtype=np.float64)
    return both, np.maximum(degrees, 1.0), more
