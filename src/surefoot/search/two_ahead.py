"""The run to make, judged with the best run after it.

A short run past the edge and a longer one short of it are worth more together than apart: judged alone, the first buys
a failure and the second learns no slope. So the few runs that promise most by themselves are judged by what is left of
their worth once their minutes are paid for, and by what is left of the best run after each of their endings: held,
failed early, failed late. A third run ahead would take so many times longer to reckon with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.search.evidence import Goal
from surefoot.search.outlook import Outlook, look_ahead, survival
from surefoot.search.posterior import Posterior
from surefoot.units import Knob

FEW = 3
"""Depths considered for the first run, each with the length that pays best there and one two lengths shorter."""
SHORTER = 2
LATE = 3
"""A failure counts as late within so many lengths of the run's own."""
RARE = 0.01
"""Endings less likely than this are not looked past."""
DEPTHS_AFTER = 10


@dataclass(frozen=True, slots=True)
class Choice:
    """The run chosen: ``at``, its place in the outlook; ``left``: of its worth and of the run's after it, what is left
    once their minutes are paid for, in the knob's unit. Below 0 no run pays."""

    at: tuple[int, int]
    left: float


@dataclass(frozen=True, eq=False)
class TwoAhead:
    """What a search weighs with. ``deepest``: that held; ``may_fail``: whether one more failure leaves a run to make;
    ``soft_share``: of the failures, those that the load catches (one more of them expected changes nothing in what is
    expected of the next); ``worth_per_hour``: what an hour must gain, in the knob's unit."""

    after: Posterior
    knob: Knob
    goal: Goal
    deepest: float
    may_fail: bool
    soft_share: float
    worth_per_hour: float

    def choose(self, outlook: Outlook) -> Choice:
        """The run of the outlook to make."""
        net = outlook.net(self.worth_per_hour)
        choices = []
        for depth_at in np.argsort(-net.max(axis=1), kind="stable")[:FEW]:
            longest = int(net[depth_at].argmax())
            for length_at in range(longest, max(longest - SHORTER, 0) - 1, -SHORTER):
                after = self._left_after(float(outlook.depths[depth_at]), length_at + 1)
                choices.append(Choice((int(depth_at), length_at), float(net[depth_at, length_at]) + after))
        return max(choices, key=lambda choice: choice.left)

    def _left_after(self, depth: float, length: int) -> float:
        """What is left of the best run after one, on average over its endings; ``length``: the number of its length,
        counted from 1."""
        held = survival(self.after.grid, depth)
        deeper = max(self.deepest, depth)
        found = self._best_left(held[length], min(deeper + self.goal.max_stride, self.knob.deepest), deeper)
        if self.may_fail:
            early = max(length - LATE, 0)
            found += self._best_left(held[early] - held[length], self.deepest, self.deepest)
            if early:
                found += self._best_left(held[0] - held[early], self.deepest, self.deepest)
        return found

    def _best_left(self, chance: np.ndarray, ceiling: float, deepest: float) -> float:
        """What is left of the best run after an ending, times how likely that is. ``chance``: of the ending, (n, k)."""
        weight = self.after.weight * chance
        mass = float(weight.sum())
        if mass < RARE:
            return 0.0
        then = look_ahead(
            Posterior(self.after.grid, weight / mass), self.knob, self.goal, ceiling=self.knob.whole(ceiling),
            deepest=deepest, soft_share=self.soft_share, most_depths=DEPTHS_AFTER,
        )  # fmt: skip
        return mass * max(float(then.net(self.worth_per_hour).max()), 0.0)
