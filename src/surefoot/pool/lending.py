"""What a pool lends one unit: for each knob the fit of units of its kind, from wide groups to its own platform.

Partial pooling: the fit of a wider group, made uncertain by what groups may differ, is what is believed of the
narrower before its own units are seen. With many of them it hardly matters; with few it is most of what there is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from surefoot.pool.fit import Population, fit, lend, vague, widened
from surefoot.pool.groups import Kind, Member, Nested, nested
from surefoot.pool.kinds import BY, family_of, platform_of
from surefoot.pool.likelihood import MISLOGGED, FitGrid, fit_grid, unit_likelihood
from surefoot.search.lent import EdgePrior, Lent
from surefoot.search.prior import wide_density
from surefoot.units import Knob, Unit

Floats = NDArray[np.float64]

EDGE_SHARES = (1.0, 0.7, 0.3)
"""How far the middle of a group lies from that of the next wider one, as a share of the spread of the wider one's
edges: a family among knobs of one measure, a platform in its family, a load on its platform. *A guess*: one platform's
units differ among themselves about as much as platforms do."""
SLOPES_APART = (0.35, 0.2, 0.15)
"""The same for ln of the depth per decade."""
LOOSENED = (0.7, 0.5, 0.2)
"""How much of what a wider group says of spreads and of the share of like units is not believed of the narrower."""
MISLOGGED_UNITS = 30
"""So many units are enough to tell how often outcomes were mislogged."""
FEWEST_FAR = 5
"""Fewer units than this of another platform lend nothing."""


@dataclass(frozen=True, eq=False)
class Fitted:
    """The fit for a knob. ``units``: by level's words, from wide to narrow; ``mislogged``: share of outcomes that look
    written down the wrong way round."""

    knob: Knob
    grid: FitGrid
    population: Population
    prior: EdgePrior
    units: Mapping[str, int]
    members: tuple[Member, ...]
    likelihoods: tuple[Floats, ...]
    mislogged: float


def fit_nested(knob: Knob, around: Nested, *, flat: bool = False) -> Fitted | None:
    """Fit the groups around a knob from wide to narrow; None where there are too few units to lend anything.

    ``flat``: the narrowest level alone, without its wider groups.
    """
    counts = [len(members) for _, members in around.levels]
    if not any(counts[-2:]) and sum(counts) < FEWEST_FAR:
        return None
    grid = fit_grid(knob)
    before = vague(grid)
    wide = wide_on(grid, knob)
    population = before
    mislogged = _mislogged(grid, before, wide, around)
    taken: list[Member] = []
    likelihoods: list[Floats] = []
    for at, (_, members) in enumerate(around.levels):
        last = at == len(around.levels) - 1
        if flat and not last:
            continue
        found = [unit_likelihood(grid, member.evidence, mislogged) for member in members]
        population = fit(grid, population, found, wide)
        if not last and found:
            population = widened(
                population, before, edge_share=EDGE_SHARES[at], slope=SLOPES_APART[at], loosened=LOOSENED[at]
            )
        taken += members
        likelihoods += found
    words = next(words for words, members in reversed(around.levels) if members)
    units = {words: len(members) for words, members in around.levels if members}
    count = sum(len(members) for _, members in around.levels[-2:]) or len(taken)
    prior = lend(population, count, words, grid.typical)
    return Fitted(knob, grid, population, prior, units, tuple(taken), tuple(likelihoods), mislogged)


def _mislogged(grid: FitGrid, before: Population, wide: Floats, around: Nested) -> float:
    """The chance of a mislogged outcome that makes the runs of the nearest units likeliest."""
    near = [member for _, members in around.levels[-2:] for member in members] or list(around.members)
    some = near[:MISLOGGED_UNITS]

    def evidence(chance: float) -> float:
        found = [unit_likelihood(grid, member.evidence, chance) for member in some]
        return fit(grid, before, found, wide).log_evidence

    return max(MISLOGGED, key=evidence)


def wide_on(grid: FitGrid, knob: Knob) -> Floats:
    """The search's wide prior on the fit's grid, shape (n, k), summing to 1."""
    made = wide_density(knob, grid.edge[:, None], grid.log_slope[None, :])
    return np.asarray(made / made.sum())


def kind_of(unit: Unit, knob: Knob, by: str = BY) -> Kind:
    """A knob's kind, as a pool's rows name it."""
    platform = platform_of(unit, knob, by)
    return Kind(platform, family_of(unit, platform), knob.name, knob.domain.lower(), knob.unit, knob.toward)


def fits_for(
    path: Path, unit: Unit, *, loads: Mapping[str, str] | None = None, without: str = "", names: Sequence[str] = ()
) -> dict[str, Fitted]:
    """The fit for each searched knob of a unit of which the pool knows something.

    ``loads``: by knob, under which it is searched (else the card's); ``without``: the unit's own code, left out;
    ``names``: these knobs alone. Raises BadInput when the file is no pool.
    """
    found = {}
    for knob in unit.leaders():
        if names and knob.name not in names:
            continue
        load = (loads or {}).get(knob.name) or knob.load
        made = _fitted(path, path.stat().st_mtime_ns if path.is_file() else 0, knob, kind_of(unit, knob), load, without)
        if made is not None:
            found[knob.name] = made
    return found


@lru_cache(maxsize=16)
def _fitted(path: Path, changed: int, knob: Knob, kind: Kind, load: str, without: str) -> Fitted | None:
    """``changed``: when the file was; a session asks many times, and the answer is the same until the file is not."""
    return fit_nested(knob, nested(path, kind, load, knob, without=without))


def lent_to(path: Path, unit: Unit, *, loads: Mapping[str, str] | None = None, without: str = "") -> Lent | None:
    """What a pool lends a unit, or None where it knows nothing of its kind. As `fits_for`."""
    found = fits_for(path, unit, loads=loads, without=without)
    priors = tuple((name, one.prior) for name, one in found.items())
    return Lent(priors, path.name) if priors else None
