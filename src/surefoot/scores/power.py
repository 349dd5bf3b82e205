"""How many blocks show a difference, and what so many blocks would have shown: by playing trials."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.blocks import own_spreads
from surefoot.scores.many_to_one import PLAIN_ALPHA, tail, trust
from surefoot.scores.spending import levels, looks
from surefoot.scores.students_t import two_sided, upper

PLAYED = 4000
MOST_BLOCKS = 40
_DEGREES = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 13, 17, 24, 36, 60, 120, 400)
_REACH = np.concatenate([np.linspace(0.05, 6, 60), np.geomspace(6.5, 60, 18)])


@dataclass(frozen=True, slots=True)
class Power:
    """What a trial of ``blocks`` blocks would do: ``chance`` to show the difference; ``mean_blocks``: blocks taken on
    average when it may stop early."""

    blocks: int
    chance: float
    mean_blocks: float


def power(
    blocks: int, configurations: int, difference: float, spread: float, *, early: bool = False, alpha: float = 0.05
) -> Power:
    """The chance that a true difference of one configuration to the baseline is shown, the others being alike.

    ``difference``, ``spread`` (between runs within a block): in one unit, or both in percent. ``early``: whether it is
    judged after each block from the third by `spending.levels`. Trials are played (normal, the same draws each time)
    and judged as real ones are; 4,000 of them, so that the standard error is at most 0.8 points. Raises BadInput for
    numbers out of range.
    """
    if blocks < 2 or configurations < 2:
        raise BadInput("a trial has two blocks and two configurations at least.")
    if not (math.isfinite(difference) and math.isfinite(spread)) or spread <= 0:
        raise BadInput(f"a spread of {spread:g} shows nothing of a difference.", remedy="Measure a few blocks first.")
    table = _noise(blocks, configurations).copy()
    table[:, :, -1] += difference / spread
    if not early:
        found = rejections(table, alpha)[:, -1]
        return Power(blocks, float(found.mean()), float(blocks))
    steps = levels(blocks, configurations - 1, alpha)
    shown = np.zeros(PLAYED, dtype=bool)
    taken = np.full(PLAYED, float(blocks))
    for look in looks(blocks):
        if shown.all():
            break
        real = rejections(table[~shown, :look], steps[look])[:, -1]
        where = np.flatnonzero(~shown)[real]
        shown[where] = True
        taken[where] = look
    return Power(blocks, float(shown.mean()), float(taken.mean()))


def blocks_for(
    configurations: int,
    difference: float,
    spread: float,
    *,
    wanted: float = 0.8,
    early: bool = False,
    at_least: int = 2,
    at_most: int = MOST_BLOCKS,
) -> Power | None:
    """The fewest blocks that show a difference with the chance ``wanted``, see `power`; None: not by ``at_most``."""
    from scipy import special

    # Where to begin: the normal approximation with Bonferroni's bound; then played, up or down to the fewest.
    level = 0.05 / (configurations - 1)
    sum_of = float(special.ndtri(1 - level / 2)) + float(special.ndtri(wanted))
    guess = 2 * (sum_of * spread / difference) ** 2 if difference else math.inf
    if guess > 1.3 * at_most:
        return None
    blocks = max(at_least, min(at_most, math.ceil(guess)))
    found = power(blocks, configurations, difference, spread, early=early)
    while found.chance < wanted:
        if found.blocks >= at_most:
            return None
        found = power(found.blocks + 1, configurations, difference, spread, early=early)
    while found.blocks > at_least:
        fewer = power(found.blocks - 1, configurations, difference, spread, early=early)
        if fewer.chance < wanted:
            break
        found = fewer
    return found


def would_show(error: float, degrees: float, level: float, chance: float = 0.8) -> float:
    """The smallest true difference that a test would have shown with ``chance``: (bound + quantile) standard errors.

    ``error``: standard error of the difference; ``degrees``: its degrees of freedom; ``level``: the chance of error one
    comparison had to stay below. NaN where there is no error.
    """
    if not (math.isfinite(error) and error > 0 and degrees >= 1 and 0 < level < 1):
        return math.nan
    return error * (upper(level / 2, degrees) + upper(1 - chance, degrees))


def rejections(tables: Floats, level: float = 0.05) -> np.ndarray:
    """Which differences to the first configuration `within_blocks` would call real, for many trials at once.

    ``tables``: shape (trials, blocks, configurations). Returns shape (trials, configurations - 1) of bool.
    """
    return adjusted_many(tables) <= level


def adjusted_many(tables: Floats) -> Floats:
    """The corrected chances of `within_blocks` for many trials at once, shape (trials, configurations - 1).

    ``tables``: shape (trials, blocks, configurations). From tables of `tail`, right to about 1 %.
    """
    trials, blocks, many = tables.shape
    m = many - 1
    differences = (tables[:, :, 1:] - tables[:, :, :1]).mean(axis=1)
    residual = tables - tables.mean(axis=1, keepdims=True) - tables.mean(axis=2, keepdims=True)
    residual += tables.mean(axis=(1, 2), keepdims=True)
    squares = np.sum(residual**2, axis=1)
    degrees = float((blocks - 1) * m)
    common = np.maximum(squares.sum(axis=1) / degrees, 1e-300)
    t = np.abs(differences) / np.sqrt(2 * common / blocks)[:, None]
    raw = two_sided(t, degrees)
    if m == 1:
        return raw
    own, own_degrees, more = own_spreads(squares, common[:, None], 0.0, blocks)
    own_t = np.abs(differences) / np.sqrt(own / blocks)
    baseline_limit, other_limit, own_limit = trust(blocks)
    apart = (more[:, :1] < baseline_limit) | (more[:, 1:] < other_limit)
    order = np.argsort(-t, axis=1)
    made = np.ones((trials, m))
    so_far = np.zeros(trials)
    rows = np.arange(trials)
    for place in range(m):
        at = order[:, place]
        shared = _tails(t[rows, at], m - place, np.full(trials, degrees))
        alone = _tails(own_t[rows, at], m - place, own_degrees[rows, at])
        alone = np.where(apart[rows, at], alone, np.minimum(1.0, alone * PLAIN_ALPHA / own_limit))
        so_far = np.maximum.reduce([so_far, shared, alone, raw[rows, at]])
        made[rows, at] = so_far
    return made


@lru_cache(maxsize=4)
def _noise(blocks: int, configurations: int) -> Floats:
    return np.random.default_rng(1935).standard_normal((PLAYED, blocks, configurations))


@lru_cache(maxsize=512)
def _table(comparisons: int, degrees: float) -> Floats:
    return np.log([max(tail(float(reach), comparisons, degrees), 1e-300) for reach in _REACH])


def _tails(t: Floats, comparisons: int, degrees: Floats) -> Floats:
    """`tail` of many, from tables: log-linear in t, and linear in 1 / degrees between those tabled."""
    made = np.empty(t.size)
    if not degrees.size:
        return made
    if np.ptp(degrees) == 0:
        return np.exp(np.interp(t, _REACH, _table(comparisons, float(degrees[0]))))
    grid = np.asarray(_DEGREES, dtype=np.float64)
    place = np.clip(np.searchsorted(grid, degrees, side="right") - 1, 0, grid.size - 2)
    low, high = grid[place], grid[place + 1]
    weight = np.clip((1 / degrees - 1 / low) / (1 / high - 1 / low), 0, 1)
    for at in np.unique(place):
        here = place == at
        one = np.interp(t[here], _REACH, _table(comparisons, float(grid[at])))
        other = np.interp(t[here], _REACH, _table(comparisons, float(grid[at + 1])))
        made[here] = np.exp(one + weight[here] * (other - one))
    return made
