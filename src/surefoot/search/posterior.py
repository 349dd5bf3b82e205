"""What the evidence says of one knob's edge: the posterior on a grid, and the bounds read from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Evidence, Goal
from surefoot.search.likelihood import log_likelihood, log_survival
from surefoot.search.own_evidence import believed
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, Grid, grid_for, model_confidence
from surefoot.search.use_evidence import apart, log_use
from surefoot.units import Knob

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Posterior:
    """Weights on the grid after some evidence.

    ``weight``: shape (n, k), sums to 1, over ``grid.goal_depth`` (n, 1) and ``grid.per_decade`` (1, k).
    """

    grid: Grid
    weight: Floats

    @property
    def goal_weight(self) -> Floats:
        """Marginal of the deepest depth that meets the goal, shape (n,)."""
        return np.asarray(self.weight.sum(axis=1))

    def goal_quantile(self, share: float) -> float:
        """The depth that the goal depth lies below with probability ``share``."""
        total = np.cumsum(self.goal_weight)
        depths = self.grid.goal_depth[:, 0]
        half = 0.5 * (depths[1] - depths[0])
        return float(np.interp(share, total, depths + half))

    def chance_meets(self, depth: float) -> float:
        """Probability that the MTTF at a depth is at least the goal's."""
        depths = self.grid.goal_depth[:, 0]
        return float(self.goal_weight[depths >= depth - 1e-9].sum())

    def failure_chance(self, depth: float, minutes: float) -> float:
        """Probability that a run of ``minutes`` at a depth fails."""
        held = np.exp(log_survival(self.grid.hazard(depth), minutes / 60.0, RUN_SPREAD))
        return float(np.clip(1.0 - (self.weight * held).sum(), 0.0, 1.0))

    def mttf_quantiles(self, depth: float, shares: Sequence[float]) -> Floats:
        """Hours of MTTF at a depth that the truth lies below with each probability, shape (len(shares),).

        The MTTF of a grid point counts its background. Exact on the grid: no interpolation, so that the order which
        the likelihood keeps (longer pass, larger bound) is kept.
        """
        mttf = (1.0 / self.grid.hazard(depth)).ravel()
        order = np.argsort(mttf, kind="stable")
        total = np.cumsum(self.weight.ravel()[order])
        at = np.searchsorted(total, np.asarray(shares) * total[-1] - 1e-12)
        return np.asarray(mttf[order][np.minimum(at, order.size - 1)])

    def mttf_bound(self, depth: float, goal: Goal) -> float:
        """Lower bound on the MTTF in hours at a depth, at the goal's confidence."""
        return float(self.mttf_quantiles(depth, [1.0 - model_confidence(goal)])[0])

    @property
    def edge_middle(self) -> float:
        """Median of the depth at which the MTTF is one hour. Not the mean: what is left of the belief that the one
        failure was a stray one lies far out, and would draw it past depths that failed."""
        edges = self.grid.edge.ravel()
        order = np.argsort(edges, kind="stable")
        total = np.cumsum(self.weight.ravel()[order])
        return float(edges[order][min(np.searchsorted(total, 0.5 * total[-1]), order.size - 1)])


@dataclass(frozen=True, eq=False)
class EdgePosterior:
    """The posterior as curves over depth, for charts and explanations.

    ``depths``: shape (n,), the knob's unit; ``edge_density`` and ``goal_density``: per unit of depth, of the depth at
    which the MTTF is one hour and of the deepest that meets the goal; ``mttf_low``, ``mttf_median``, ``mttf_high``:
    hours at each depth, the outer two bounds at the goal's confidence.
    """

    depths: Floats
    edge_density: Floats
    goal_density: Floats
    mttf_low: Floats
    mttf_median: Floats
    mttf_high: Floats
    posterior: Posterior

    def failure_chance(self, depth: float, minutes: float) -> float:
        """Probability that a run of ``minutes`` at a depth fails."""
        return self.posterior.failure_chance(depth, minutes)


def posterior(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Posterior:
    """The posterior after the evidence, all of it believed; the order of the runs does not matter to it."""
    grid = grid_for(knob, goal)
    log_weight = grid.log_prior.copy()
    bench, use = apart(evidence)
    for piece in bench:
        log_weight += _piece(grid, piece.depth, piece.minutes, piece.failed, piece.timed)
    log_weight += log_use(grid, use)
    weight = np.exp(log_weight - log_weight.max())
    return Posterior(grid, np.asarray(weight / weight.sum()))


@lru_cache(maxsize=512)
def _piece(grid: Grid, depth: float, minutes: float, failed: bool, timed: bool) -> Floats:
    """Log likelihood of one run over the grid, shape (n, k). Grids are cached too, so identity is a fit key."""
    found = log_likelihood(grid.hazard(depth), minutes / 60.0, failed, timed, spread=RUN_SPREAD, stray=STRAY_FAILURES)
    found.setflags(write=False)
    return found


def edge_posterior(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> EdgePosterior:
    """The posterior of a knob as curves, from stock to the limit in half steps (at most 240 of them).

    Holds that the unit's other runs do not bear out say nothing here (own_evidence.py).
    """
    after = posterior(knob, believed(knob, evidence, goal), goal)
    grid = after.grid
    depths = np.linspace(0.0, knob.limit, int(min(max(2 * knob.limit / knob.step, 40), 240)) + 1)
    doubt = 1.0 - model_confidence(goal)
    curves = np.array([after.mttf_quantiles(float(depth), [doubt, 0.5, 1.0 - doubt]) for depth in depths])
    cell = float(grid.goal_depth[1, 0] - grid.goal_depth[0, 0])
    goal_density = np.interp(depths, grid.goal_depth[:, 0], after.goal_weight / cell, left=0.0, right=0.0)
    edge_density = np.zeros_like(depths)
    for column, s in enumerate(grid.per_decade[0]):
        edges = grid.goal_depth[:, 0] + grid.decades * s
        edge_density += np.interp(depths, edges, after.weight[:, column] / cell, left=0.0, right=0.0)
    return EdgePosterior(depths, edge_density, goal_density, curves[:, 0], curves[:, 1], curves[:, 2], after)
