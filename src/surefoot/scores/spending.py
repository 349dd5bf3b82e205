"""Looking more than once: how much of the chance of error each look may spend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.students_t import two_sided, upper

FIRST_LOOK = 3
"""Blocks before the first look: two give a spread that says next to nothing."""

DRAWS = 200_000
FEWEST_PASSING = 100
"""Draws beyond a bound, below which the bound is not taken from the draws."""


def spent(share: float, alpha: float = 0.05) -> float:
    """The chance of error spent when ``share`` of the blocks (0 to 1) are in, so that little goes early.

    On each side 2 - 2 Phi(z / sqrt(share)), z the normal quantile that alpha / 4 lies beyond: like O'Brien and
    Fleming's bounds (1979, Biometrics 35), for looks at any time (Lan and DeMets 1983, Biometrika 70).
    """
    if not 0 < share <= 1:
        raise BadInput(f"{share!r} is no share of the blocks.")
    return 2 * float(two_sided(upper(alpha / 4) / math.sqrt(share), math.inf))


def looks(blocks: int) -> tuple[int, ...]:
    """After which blocks of so many is looked: each from the third, and always the last."""
    return tuple(range(min(FIRST_LOOK, blocks), blocks + 1))


@lru_cache(maxsize=32)
def levels(planned: int, comparisons: int = 1, alpha: float = 0.05) -> dict[int, float]:
    """The level that a corrected chance of error must reach at each look, by number of blocks.

    The chance that any of several differences to one baseline passes at any look, where nothing differs, is ``alpha``:
    the first level is exact, the others are drawn (normal, many-to-one correlated, the same draws each time).
    """
    when = looks(planned)
    largest = _paired(when) if comparisons == 1 else _largest(tuple(block / planned for block in when), comparisons)
    shares = [block / planned for block in when]
    return dict(zip(when, _levels(shares, largest, comparisons, alpha), strict=True))


def _levels(shares: Sequence[float], largest: Floats, comparisons: int, alpha: float) -> list[float]:
    from surefoot.scores.many_to_one import critical, tail

    alive = np.ones(largest.shape[0], dtype=bool)
    made: list[float] = []
    before = 0.0
    for place, share in enumerate(shares):
        now = spent(share, alpha)
        may_pass = round((now - before) * DRAWS)
        if place == 0 or may_pass < FEWEST_PASSING:
            # What is spent here alone, as if no look overlapped with another: exact for the first, stricter after it.
            level = now - before
            bound = critical(comparisons, math.inf, level) if level > 1e-14 else math.inf
        else:
            bound = float(np.sort(largest[alive, place])[-may_pass])
            level = min(alpha, tail(bound, comparisons, math.inf))
        alive &= largest[:, place] < bound
        made.append(max([level, *made]))
        before = now
    return made


@lru_cache(maxsize=8)
def _largest(shares: tuple[float, ...], comparisons: int) -> Floats:
    """The largest |z| of the comparisons at each look, drawn where nothing differs, shape (DRAWS, looks)."""
    rng = np.random.default_rng(1979)
    steps = np.sqrt(np.diff(np.concatenate([[0.0], shares])))
    many = comparisons + 1
    draws = np.zeros((DRAWS, many))
    made = np.empty((DRAWS, len(shares)))
    for place, (step, share) in enumerate(zip(steps, shares, strict=True)):
        draws += step * rng.standard_normal((DRAWS, many))
        apart = draws[:, 1:] - draws[:, :1]
        made[:, place] = np.abs(apart).max(axis=1) / math.sqrt(2 * share)
    return made


@lru_cache(maxsize=4)
def _paired(when: tuple[int, ...]) -> Floats:
    """The same for one comparison, whose spread is estimated anew at each look: as the normal |z| of its paired t test.

    With few blocks the looks hang together less than known spreads would have it (6.3 % where 5 % was meant).
    """
    from scipy import special

    rng = np.random.default_rng(1979)
    total, squares = np.zeros(DRAWS), np.zeros(DRAWS)
    made = np.empty((DRAWS, len(when)))
    places = {block: place for place, block in enumerate(when)}
    for block in range(1, when[-1] + 1):
        drawn = rng.standard_normal(DRAWS)
        total += drawn
        squares += drawn**2
        if block in places:
            t = total / np.sqrt(block * (squares - total**2 / block) / (block - 1))
            made[:, places[block]] = -special.ndtri(two_sided(t, block - 1) / 2)
    return made


def crossing(bounds: Sequence[float], shares: Sequence[float]) -> float:
    """The chance that a standardised running mean leaves +- ``bounds`` at any look where nothing differs.

    Armitage, McPherson and Rowe 1969 (Journal of the Royal Statistical Society A 132), by numerical integration.
    """
    from scipy import special

    inside = 1.0
    grid = np.zeros(1)
    density = np.ones(1)
    before = 0.0
    for bound, share in zip(bounds, shares, strict=True):
        step = math.sqrt(share - before)
        before = share
        reach = bound * math.sqrt(share)
        places, weights = np.polynomial.legendre.leggauss(201)
        new = reach * places
        moved = (new[:, None] - grid) / step
        if grid.size == 1:
            dens = np.exp(-0.5 * (new / step) ** 2) / math.sqrt(2 * math.pi) / step
            inside = float(special.ndtr(reach / step) - special.ndtr(-reach / step))
        else:
            dens = (np.exp(-0.5 * moved**2) / math.sqrt(2 * math.pi) / step) @ density
            inside = float(reach * weights @ dens)
        grid, density = new, dens * reach * weights
    return 1.0 - inside
