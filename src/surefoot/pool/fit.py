"""The hierarchical model: how edges and slopes of a kind are spread, from units of which each is known but roughly.

Edge m and ln of the depth per decade s of a unit are normal around a middle; the two middles and the two spreads
are unknown, and summed over a grid of what they may be (Gelman and others, Bayesian Data Analysis, ch. 5), each value
weighed by how likely it makes the runs of all units. So the uncertainty of the fit is part of what it lends. A unit
may also be like none of the others: then the wide prior holds for it, and the share of such units is unknown too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from surefoot.pool.likelihood import FitGrid
from surefoot.search.lent import EdgePart, EdgePrior
from surefoot.search.prior import SOFT_SPREAD, TYPICAL_MIDDLE, TYPICAL_SPREAD

Floats = NDArray[np.float64]

EDGE_SPREADS = (1.0, 1.5, 2.2, 3.2, 4.6, 6.6, 9.5, 14.0, 20.0)
"""Standard deviations of the edge that are considered, in typical depths per decade."""
LOG_SLOPE_STEP = 0.2
SLOPE_SPREADS = (0.10, 0.17, 0.27, 0.40, 0.60)
"""Standard deviations of ln s that are considered."""
SLOPE_SPREAD_MIDDLE, SLOPE_SPREAD_WIDTH = np.log(0.27), 0.6
"""Before any unit is seen, ln of the spread of ln s is normal around this: units of one kind differ, *a guess*."""
SLOPE_MIDDLE_WIDTH = 0.8
"""Before any unit is seen, the middle of ln(s / typical) is normal around 0 with this deviation: *a guess*, wide."""
WEIGHTS = (0.3, 0.6, 0.8, 0.9, 0.96)
"""Shares of units that are like the others. Never all: the next may be the first that is not."""
EDGE_MIDDLES = 32
PARTS = 48
OTHER_EVERY = 4
MOST_WEIGHT = 0.8
"""Weight of what a pool lends against the wide prior, at most: a unit that fails where the pool says none would is let
go by that one run. Where it is like the pool, its first runs find that out and little is lost."""
OTHER_SLOPES = 0.4
"""Share of what is lent that has the pool's edges and other slopes than the pool's. Edges show themselves within the
hour; slopes seldom do, so a pool of the wrong kind with the same edges would never be found out by the unit's runs."""
OTHER_SOFT = 0.6
OTHER_SOFT_MULTIPLE = 2.0
"""Of those, the share that is soft, and the middle of the soft ones as a multiple of the typical; the rest is typical.
All three set by `surefoot rehearse --pool`: less, and fewer than 17 in 20 claims are honest where edges are alike and
slopes twice as soft; more, and the pool's own units gain little."""


@dataclass(frozen=True, eq=False)
class Population:
    """What is believed of how units of a kind are spread: weights over middles, spreads and the share of like units.

    ``edge_middle`` (a,), ``edge_spread`` (b,), ``slope_middle`` (c,), ``slope_spread`` (d,), ``share`` (w,);
    ``weight``: shape (a, b, c, d, w), sums to 1. ``log_evidence``: log likelihood of all runs seen so far.
    """

    edge_middle: Floats
    edge_spread: Floats
    slope_middle: Floats
    slope_spread: Floats
    share: Floats
    weight: Floats
    log_evidence: float = 0.0

    def mean(self, of: str) -> float:
        """The mean of one of its five parts, by name."""
        names = ("edge_middle", "edge_spread", "slope_middle", "slope_spread", "share")
        at = names.index(of)
        marginal = self.weight.sum(axis=tuple(axis for axis in range(5) if axis != at))
        return float(marginal @ getattr(self, of))

    def deviation(self, of: str) -> float:
        """Standard deviation of one of its five parts, by name: how sure the fit is of it."""
        names = ("edge_middle", "edge_spread", "slope_middle", "slope_spread", "share")
        marginal = self.weight.sum(axis=tuple(axis for axis in range(5) if axis != names.index(of)))
        values = getattr(self, of)
        return float(np.sqrt(max(marginal @ values**2 - (marginal @ values) ** 2, 0.0)))


def vague(grid: FitGrid) -> Population:
    """What is believed before any unit was seen."""
    inside = grid.edge[(grid.edge >= 0)]
    edge_middle = np.linspace(float(inside[0]), float(inside[-1]), EDGE_MIDDLES)
    typical = grid.typical
    slope_middle = np.arange(grid.log_slope[0], grid.log_slope[-1] + 1e-9, LOG_SLOPE_STEP)
    slope_spread = np.array(SLOPE_SPREADS)
    share = np.array(WEIGHTS)
    on_middle = _normal(slope_middle - np.log(typical), SLOPE_MIDDLE_WIDTH)
    on_spread = _normal(np.log(slope_spread) - SLOPE_SPREAD_MIDDLE, SLOPE_SPREAD_WIDTH)
    edge_spread = np.array(EDGE_SPREADS) * typical
    # Flat in the spread itself, as is usual where groups are few (Gelman 2006, Prior distributions for variance
    # parameters): its values are spaced by a factor, so each stands for a piece as long as itself.
    weight = np.ones(edge_middle.size)[:, None, None, None, None] * edge_spread[None, :, None, None, None]
    weight = weight * on_middle[None, None, :, None, None] * on_spread[None, None, None, :, None]
    weight = weight * np.ones(share.size)
    return Population(edge_middle, edge_spread, slope_middle, slope_spread, share, weight / weight.sum())


def fit(grid: FitGrid, before: Population, likelihoods: Sequence[Floats], wide: Floats) -> Population:
    """The population after the units' runs; ``wide``: the wide prior on the grid, shape (n, k), summing to 1."""
    if not likelihoods:
        return before
    on_edge = _table(grid.edge, before.edge_middle, before.edge_spread)
    on_slope = _table(grid.log_slope, before.slope_middle, before.slope_spread)
    log_weight = np.log(np.maximum(before.weight, 1e-300))
    for one in likelihoods:
        like = (on_edge @ one @ on_slope.T).reshape(before.weight.shape[:4])
        unlike = float((wide * one).sum())
        log_weight += np.log(like[..., None] * before.share + (unlike * (1.0 - before.share) + 1e-300))
    most = float(log_weight.max())
    weight = np.exp(log_weight - most)
    total = float(weight.sum())
    return replace(before, weight=weight / total, log_evidence=before.log_evidence + most + float(np.log(total)))


def widened(after: Population, before: Population, *, edge_share: float, slope: float, loosened: float) -> Population:
    """What is believed of a narrower group, from what is known of the wider one that it belongs to.

    Its middles may lie elsewhere: normal around the wider group's, with ``edge_share`` of the spread of that group's
    edges and with ``slope`` in ln s. Its spreads and its share of like units may be others: ``loosened`` of their
    weight goes back to what was believed ``before`` any unit.
    """
    weight = np.empty_like(after.weight)
    apart = after.edge_middle[:, None] - after.edge_middle[None, :]
    for at, spread in enumerate(after.edge_spread):
        kernel = _normal(apart, max(edge_share * spread, 1e-9))
        weight[:, at] = np.tensordot(kernel / kernel.sum(axis=0), after.weight[:, at], axes=(1, 0))
    apart = after.slope_middle[:, None] - after.slope_middle[None, :]
    kernel = _normal(apart, max(slope, 1e-9))
    weight = np.moveaxis(np.tensordot(kernel / kernel.sum(axis=0), weight, axes=(1, 2)), 0, 2)
    middles = weight.sum(axis=(1, 3, 4), keepdims=True)
    spreads = before.weight.sum(axis=(0, 2), keepdims=True)
    return replace(after, weight=(1.0 - loosened) * weight + loosened * middles * spreads)


def lend(population: Population, units: int, group: str, typical: float) -> EdgePrior:
    """What a new unit of the kind is expected to be: parts drawn evenly from the fit, some with other slopes, and the
    weight of them all. ``typical``: depth per decade of the unit of measure."""
    over = population.weight.sum(axis=4)
    flat = over.ravel()
    total = np.cumsum(flat)
    at = np.searchsorted(total, (np.arange(PARTS) + 0.5) / PARTS * total[-1])
    parts = []
    for i, j, k, n in zip(*np.unravel_index(at, over.shape), strict=True):
        parts.append(
            EdgePart(
                float(population.edge_middle[i]),
                float(population.edge_spread[j]),
                float(population.slope_middle[k]),
                float(population.slope_spread[n]),
            )
        )
    return EdgePrior((*parts, *_other_slopes(parts, typical)), min(population.mean("share"), MOST_WEIGHT), units, group)


def _other_slopes(parts: Sequence[EdgePart], typical: float) -> list[EdgePart]:
    """The same edges, every `OTHER_EVERY`th of them, with slopes of the wide prior's two kinds."""
    kinds = ((TYPICAL_MIDDLE, TYPICAL_SPREAD, 1.0 - OTHER_SOFT), (OTHER_SOFT_MULTIPLE, SOFT_SPREAD, OTHER_SOFT))
    some = parts[::OTHER_EVERY]
    total = OTHER_SLOPES / (1.0 - OTHER_SLOPES) * sum(part.share for part in parts)
    return [
        replace(
            part,
            log_per_decade=float(np.log(multiple * typical)),
            log_spread=spread,
            share=total * weight / len(some),
        )
        for part in some
        for multiple, spread, weight in kinds
    ]


def _table(at: Floats, middles: Floats, spreads: Floats) -> Floats:
    """Normal chances of grid cells for each middle and spread, shape (middles * spreads, cells), rows summing to 1."""
    apart = at[None, None, :] - middles[:, None, None]
    table = np.exp(-0.5 * (apart / spreads[None, :, None]) ** 2).reshape(-1, at.size)
    return np.asarray(table / np.maximum(table.sum(axis=1, keepdims=True), 1e-300))


def _normal(apart: Floats, deviation: float) -> Floats:
    return np.asarray(np.exp(-0.5 * (apart / deviation) ** 2))
