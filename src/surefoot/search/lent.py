"""What a pool of units of a kind lends a search: a prior on the edge and its slope, never a setting.

The search knows the shape alone; where the figures come from is the pool's business (`surefoot.pool`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.units import Knob

Floats = NDArray[np.float64]
HALF_TRUST = 8.0
MOST_TRUST = 0.0
"""Trust in the largest of pools. Nothing: the doubt that a claim may spend is then the same with a pool and without
(`prior.LENT_DOUBT`), since a lent prior keeps slopes of the wide one and with them its gloom. Set by `surefoot rehearse
--pool`: with more, an hour is spent on what the doubt takes back."""
TAIL = 4.0
"""Degrees of freedom of the edge's density about each part's middle: Student's t, since a unit a few spreads away is
rare and not impossible (Gelman and others, Bayesian Data Analysis, ch. 17)."""
_T_PEAK = math.gamma(0.5 * (TAIL + 1.0)) / (math.gamma(0.5 * TAIL) * math.sqrt(TAIL * math.pi))


@dataclass(frozen=True, slots=True)
class EdgePart:
    """One part of a mixture: the edge in the knob's unit of measure, and ln of the depth per decade; ``share``: its
    weight among the parts, which need not sum to 1."""

    edge: float
    edge_spread: float
    log_per_decade: float
    log_spread: float
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class EdgePrior:
    """What a pool expects of one knob of a new unit: parts of a mixture, its own uncertainty among them.

    ``weight``: of these against the wide prior, 0 to 1: what keeps a unit that is like none of them free;
    ``units``: on how many units it rests; ``group``: which, in words.
    """

    parts: tuple[EdgePart, ...]
    weight: float
    units: int
    group: str

    @property
    def edge_mean(self) -> float:
        """Mean of the middles of the parts, in the knob's unit of measure."""
        return sum(part.share * part.edge for part in self.parts) / sum(part.share for part in self.parts)

    @property
    def edge_deviation(self) -> float:
        """How far edges lie from that mean: spread of the middles and within the parts, tails apart."""
        middle, total = self.edge_mean, sum(part.share for part in self.parts)
        return math.sqrt(
            sum(part.share * (part.edge_spread**2 + (part.edge - middle) ** 2) for part in self.parts) / total
        )

    def density(self, edge: Floats, log_per_decade: Floats) -> Floats:
        """Density of edge and ln depth per decade, shape of the two broadcast; per unit of depth and of ln."""
        total = np.zeros(np.broadcast_shapes(edge.shape, log_per_decade.shape))
        for part in self.parts:
            u = (edge - part.edge) / part.edge_spread
            v = (log_per_decade - part.log_per_decade) / part.log_spread
            tail = (1.0 + u * u / TAIL) ** (-0.5 * (TAIL + 1.0)) * _T_PEAK / part.edge_spread
            slope = np.exp(-0.5 * v * v) / (np.sqrt(2.0 * np.pi) * part.log_spread)
            total += part.share * tail * slope
        return np.asarray(total / sum(part.share for part in self.parts))


@dataclass(frozen=True, slots=True)
class Lent:
    """What a pool lends a unit, by knob name; ``pool``: the pool in words, as a card names it."""

    priors: tuple[tuple[str, EdgePrior], ...]
    pool: str

    @property
    def trust(self) -> float:
        """How far the doubt is cut, 0 to `MOST_TRUST`: by the fewest units a prior rests on, half at `HALF_TRUST`."""
        fewest = min((prior.units for _, prior in self.priors), default=0)
        return MOST_TRUST * fewest / (fewest + HALF_TRUST)

    def to(self, knob: Knob) -> EdgePrior | None:
        """The prior for a knob, or None where the pool knows nothing of its kind."""
        return next((prior for name, prior in self.priors if name == knob.name), None)
