"""How many blocks show a difference, and what so many blocks would have shown: by playing trials."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.blocks import judged
from surefoot.scores.spending import levels, looks
from surefoot.scores.students_t import upper
from surefoot.scores.tail_tables import tabled

PLAYED = 4000
MOST_BLOCKS = 40


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

    ``tables``: shape (trials, blocks, configurations). The same arithmetic, from tables: right to about 1 %.
    """
    return judged(tables, tails=tabled).adjusted


@lru_cache(maxsize=4)
def _noise(blocks: int, configurations: int) -> Floats:
    return np.random.default_rng(1935).standard_normal((PLAYED, blocks, configurations))
