"""`tail` from tables: for thousands of data sets at once, right to about 1 %."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from surefoot.runs import Floats
from surefoot.scores.many_to_one import tail_at

_DEGREES = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 13, 17, 24, 36, 60, 120, 400)
_REACH = np.concatenate([np.linspace(0.05, 6, 60), np.geomspace(6.5, 60, 18)])


@lru_cache(maxsize=2048)
def _table(comparisons: int, degrees: float, share: float) -> Floats:
    return np.log(np.maximum(tail_at(_REACH, comparisons, degrees, np.full(comparisons, share)), 1e-300))


def tabled(t: Floats, comparisons: int, degrees: Floats, shares: Floats | None = None) -> Floats:
    """`tail` of many, t and degrees of shape (n,); ``shares``, shape (n, comparisons): alike in a row, of a few values.

    Log-linear in t, and linear in 1 / degrees between those tabled; exact tables where all degrees are one.
    """
    if shares is None:
        return _of_share(t, comparisons, degrees, 0.5)
    made = np.empty(t.size)
    for share in np.unique(shares[:, 0]):
        here = shares[:, 0] == share
        made[here] = _of_share(t[here], comparisons, degrees[here], float(share))
    return made


def _of_share(t: Floats, comparisons: int, degrees: Floats, share: float) -> Floats:
    made = np.empty(t.size)
    if not degrees.size:
        return made
    if np.ptp(degrees) == 0:
        return np.exp(np.interp(t, _REACH, _table(comparisons, max(1.0, float(degrees[0])), share)))
    grid = np.asarray(_DEGREES, dtype=np.float64)
    free = np.maximum(degrees, 1.0)
    place = np.clip(np.searchsorted(grid, free, side="right") - 1, 0, grid.size - 2)
    low, high = grid[place], grid[place + 1]
    weight = np.clip((1 / free - 1 / low) / (1 / high - 1 / low), 0, 1)
    for at in np.unique(place):
        here = place == at
        one = np.interp(t[here], _REACH, _table(comparisons, float(grid[at]), share))
        other = np.interp(t[here], _REACH, _table(comparisons, float(grid[at + 1]), share))
        made[here] = np.exp(one + weight[here] * (other - one))
    return made
