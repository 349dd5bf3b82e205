"""Probabilistic bisection: ask at the median of a belief about the edge, and trust each answer with a fixed chance.

Sources: Horstein, Sequential transmission using noiseless feedback, IEEE Trans. Inform. Theory 9 (1963); Waeber,
Frazier and Henderson, Bisection search with noisy responses, SIAM J. Control Optim. 51 (2013).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.rehearsal.literature_claims import RUN_MINUTES, certificate, decades_to_goal, wide_per_decade
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.units import Knob

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ProbabilisticBisection:
    """The method with answers trusted at ``trust``; stops when its belief's spread is ``steps`` of the knob's steps."""

    name: str = "probabilistic-bisection"
    minutes: float = RUN_MINUTES
    trust: float = 0.9
    steps: float = 3.0
    most_runs: int = 40

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """A run at the belief's median, or the stop once the belief is narrow."""
        if not evidence:
            return self._run(knob, 0.0)
        edges, belief = self.belief(knob, evidence)
        low, high = (quantile(edges, belief, share) for share in (1.0 - goal.confidence, goal.confidence))
        if high - low <= self.steps * knob.step or len(evidence) >= self.most_runs:
            return Proposal(True, 0.0, 0.0, 0.0, "Stop: the belief is narrow enough.", why_stop="certified")
        depth = round(quantile(edges, belief, 0.5) / knob.step) * knob.step
        return self._run(knob, min(max(depth, 0.0), knob.deepest))

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The belief's lower quantile, less the decades to the goal at a spread that few units exceed."""
        if not evidence:
            return None
        edges, belief = self.belief(knob, evidence)
        low = quantile(edges, belief, 1.0 - goal.confidence)
        back = decades_to_goal(goal, self.minutes) * wide_per_decade(knob, goal)
        return certificate(knob, low - back, evidence, goal)

    def belief(self, knob: Knob, evidence: Sequence[Evidence]) -> tuple[Floats, Floats]:
        """Cells of the depth at which half the runs fail, and the belief in each: uniform at first."""
        edges = np.arange(0.0, knob.limit + knob.step, knob.step / 5.0)
        logs = np.zeros_like(edges)
        for piece in evidence:
            agrees = edges <= piece.depth if piece.failed else edges >= piece.depth
            logs += np.where(agrees, math.log(self.trust), math.log(1.0 - self.trust))
        weight = np.exp(logs - logs.max())
        return edges, weight / weight.sum()

    def _run(self, knob: Knob, depth: float) -> Proposal:
        return Proposal(False, depth, self.minutes, 0.5, f"Half of the belief lies beyond {knob.describe(depth)}.")


def quantile(edges: Floats, belief: Floats, share: float) -> float:
    """The depth below which a share of the belief lies."""
    return float(np.interp(share, np.cumsum(belief), edges))
