"""What one unit's runs say of its edge and slope, on the grid on which a pool is fitted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Evidence
from surefoot.search.likelihood import log_likelihood, log_survival
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, typical_per_decade
from surefoot.search.use_evidence import apart, log_use_at
from surefoot.units import Knob

Floats = NDArray[np.float64]

EDGE_CELLS = 150
SLOPE_CELLS = 17
LOG_SLOPE_RANGE = (-1.5, 1.5)
"""ln(depth per decade / typical): from a fifth of what is typical to four and a half times as much."""
PAST_LIMIT = 0.25
BELOW_STOCK = 0.15
LEAST_MISLOGGED = 0.002
"""Chance that an outcome is written down the wrong way round, at the least."""
MISLOGGED = (LEAST_MISLOGGED, 0.01, 0.03, 0.06, 0.10)
"""Chances that are considered; the one that makes a pool's runs likeliest is taken."""


@dataclass(frozen=True, eq=False)
class FitGrid:
    """``edge``: shape (n,), in the unit of measure; ``log_slope``: shape (k,), ln of depth per decade."""

    edge: Floats
    log_slope: Floats

    @property
    def typical(self) -> float:
        """The middle depth per decade, in the unit of measure."""
        return float(np.exp(self.log_slope.mean()))


def fit_grid(knob: Knob) -> FitGrid:
    """The grid for knobs of a kind: as far as the limit goes, and what is typical of the unit of measure."""
    edge = np.linspace(-BELOW_STOCK * knob.limit, (1.0 + PAST_LIMIT) * knob.limit, EDGE_CELLS)
    log_slope = np.log(typical_per_decade(knob)) + np.linspace(*LOG_SLOPE_RANGE, SLOPE_CELLS)
    return FitGrid(edge, log_slope)


def unit_likelihood(grid: FitGrid, evidence: Sequence[Evidence], mislogged: float = LEAST_MISLOGGED) -> Floats:
    """Likelihood of a unit's runs over the grid, shape (n, k), in the runs' own measure (it is not normalised).

    ``mislogged``: chance that an outcome was written down the wrong way round, which is what is made here of runs that
    contradict each other; a hold written down as a failure then has
    the length that was planned.
    """
    slope = np.exp(grid.log_slope)
    total = np.zeros((grid.edge.size, slope.size))

    def hazard_at(depth: float) -> Floats:
        return np.asarray(np.power(10.0, np.clip((depth - grid.edge[:, None]) / slope, -12.0, 6.0)))

    bench, use = apart(evidence)
    # Hours of use are discounted as in the unit's own search, and never taken for hours on the bench.
    total += log_use_at(hazard_at, use)
    for piece in bench:
        hazard = hazard_at(piece.depth)
        hours = piece.minutes / 60.0
        one = log_likelihood(hazard, hours, piece.failed, piece.timed, spread=RUN_SPREAD, stray=STRAY_FAILURES)
        if mislogged > 0.0:
            held = log_survival(hazard, hours, RUN_SPREAD)
            other = held + (_log_length(hours) if piece.timed else 0.0)
            if not piece.failed:
                other = np.log(np.maximum(-np.expm1(held), 1e-300))
            one = np.logaddexp(np.log1p(-mislogged) + one, np.log(mislogged) + other)
        total += one
    return np.asarray(np.exp(total))


def _log_length(hours: float) -> float:
    """Log density, per hour, of the length of a run as planned: log-uniform from a minute to two hours."""
    shortest, longest = 1.0 / 60.0, 2.0
    if not shortest * 0.99 <= hours <= longest * 1.01:
        return -10.0
    return -float(np.log(hours * np.log(longest / shortest)))
