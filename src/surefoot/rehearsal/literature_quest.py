"""QUEST+: the run that is expected to leave the least entropy over threshold and slope.

Source: Watson, QUEST+: a general multidimensional Bayesian adaptive psychometric method, Journal of Vision 17 (2017);
done by the package `questplus` (development extra). Its Weibull function on a log scale, 1 - exp(-10^(slope (x - t))),
read with x in the knob's unit, is the hazard model of the search with runs of one length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import MachineError
from surefoot.rehearsal.literature_claims import RUN_MINUTES, certificate
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.search.prior import typical_per_decade
from surefoot.units import Knob

Floats = NDArray[np.float64]

LAPSE = 0.02
SPREADS = np.exp(0.35 * np.linspace(-2.0, 2.0, 9))
"""Depths per decade that are thought of, as multiples of the typical one; weighed log-normally."""


@dataclass(frozen=True)
class QuestPlusStrategy:
    """The method on the knob's whole steps; stops when its claim is within the goal's ``within`` of its median."""

    name: str = "quest-plus"
    minutes: float = RUN_MINUTES
    most_runs: int = 40

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """The run of least expected entropy, or the stop."""
        if not evidence:
            return self._run(knob, 0.0)
        quest = self._quest(knob, evidence)
        depths, weights = self._goal_depths(quest, goal)
        low, middle = (_quantile(depths, weights, share) for share in (1.0 - goal.confidence, 0.5))
        if middle - low <= goal.within or len(evidence) >= self.most_runs:
            return Proposal(True, 0.0, 0.0, 0.0, "Stop: the claim is near the median.", why_stop="certified")
        return self._run(knob, float(quest.next_stim["intensity"]))

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The quantile of the depth that meets the goal, from its posterior over threshold and slope."""
        if not evidence:
            return None
        depths, weights = self._goal_depths(self._quest(knob, evidence), goal)
        return certificate(knob, _quantile(depths, weights, 1.0 - goal.confidence), evidence, goal)

    def _quest(self, knob: Knob, evidence: Sequence[Evidence]) -> Any:
        from copy import copy

        quest = copy(_fresh(knob.step, knob.limit, typical_per_decade(knob)))
        domain = quest.stim_domain["intensity"]
        # What the package's `update` does, on bare arrays: a search replays its evidence at every step.
        dims = quest.posterior.dims
        chances = quest.likelihoods.transpose("response", "intensity", *dims).values
        weight = quest.posterior.values.copy()
        for piece in evidence:
            nearest = int(np.argmin(np.abs(domain - piece.depth)))
            weight *= chances[0 if piece.failed else 1, nearest]
            weight /= weight.sum()
        quest.posterior = quest.posterior.copy(data=weight)
        return quest

    def _goal_depths(self, quest: Any, goal: Goal) -> tuple[Floats, Floats]:
        """Depths that meet the goal over the parameter grid, ascending, and their weights."""
        threshold = quest.param_domain["threshold"][:, None]
        slope = quest.param_domain["slope"][None, :]
        # At the threshold hazard times hours is 1; at the goal the hazard is 1 / mttf_hours.
        depths = (threshold + math.log10(self.minutes / 60.0 / goal.mttf_hours) / slope).ravel()
        weights = np.asarray(quest.posterior.squeeze().transpose("threshold", "slope").values).ravel()
        order = np.argsort(depths, kind="stable")
        return depths[order], weights[order]

    def _run(self, knob: Knob, depth: float) -> Proposal:
        return Proposal(False, depth, self.minutes, 0.5, f"Least entropy is expected at {knob.describe(depth)}.")


@lru_cache(maxsize=8)
def _fresh(step: float, limit: float, typical: float) -> Any:
    """The method before any run. Raises MachineError when the package is not installed."""
    try:
        from questplus.qp import QuestPlus
    except ImportError:
        raise MachineError(
            "the package questplus is not installed.", remedy="Install Surefoot with its `dev` extra."
        ) from None
    slopes = 1.0 / (typical * SPREADS)
    weights = np.exp(-0.5 * (np.log(SPREADS) / 0.35) ** 2)
    return QuestPlus(
        stim_domain={"intensity": np.arange(0.0, math.floor(limit / step + 1e-9) + 1) * step},
        param_domain={
            "threshold": np.arange(0.0, limit * 1.2, min(step, typical) / 2.0),
            "slope": slopes,
            "lower_asymptote": [0.0],
            "lapse_rate": [LAPSE],
        },
        outcome_domain={"response": ["Yes", "No"]},
        prior={"slope": weights / weights.sum()},
        func="weibull",
        stim_scale="log10",
    )


def _quantile(depths: Floats, weights: Floats, share: float) -> float:
    return float(np.interp(share, np.cumsum(weights), depths))
