"""A virtual unit: silicon whose truth is known, so that a search can be judged by it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surefoot.search import Evidence

_STEP_MINUTES = 0.5


@dataclass(frozen=True)
class VirtualUnit:
    """One unit's truth for one knob.

    ``edge``: the depth at which the MTTF is one hour of load, and ``per_decade``: depth per decade of hazard, both in
    the knob's unit. The rest is where a unit differs from what the search believes: ``background`` failures per hour
    that no depth explains; ``shape`` of the Weibull time to failure (1: exponential; each run starts anew); the edge
    moving in a session: shallower by ``warm_drop`` once warm (time constant ``warm_minutes``) and swinging by
    ``swing`` either way over ``swing_minutes`` from ``swing_phase`` (radians); ``mislogged``: chance that an outcome
    is written down the wrong way round; ``late``: failures are found only when the planned time is over;
    ``soft_share``: share of failures that the load catches itself.
    """

    edge: float
    per_decade: float
    background: float = 0.0
    shape: float = 1.0
    warm_drop: float = 0.0
    warm_minutes: float = 15.0
    swing: float = 0.0
    swing_minutes: float = 50.0
    swing_phase: float = 0.0
    mislogged: float = 0.0
    late: bool = False
    soft_share: float = 0.0

    def hazard(self, depth: float) -> float:
        """Failures per hour of long use at a depth: warm, averaged over the swing, background included."""
        rate = 10.0 ** ((depth + self.warm_drop - self.edge) / self.per_decade)
        # Mean of exp(a sin) over a cycle is the modified Bessel function I0(a).
        return float(rate * np.i0(math.log(10.0) * self.swing / self.per_decade)) + self.background

    def mttf_hours(self, depth: float) -> float:
        """The true MTTF at a depth, hours."""
        return 1.0 / self.hazard(depth)

    def best_depth(self, mttf_hours: float, limit: float) -> float:
        """The deepest depth, not rounded to a step, whose true MTTF is at least a goal; 0 when even stock's is not."""
        left = 1.0 / mttf_hours - self.background
        if left <= 0:
            return 0.0
        swing = math.log10(float(np.i0(math.log(10.0) * self.swing / self.per_decade)))
        depth = self.edge - self.warm_drop + self.per_decade * (math.log10(left) - swing)
        return min(max(depth, 0.0), limit)

    def hours_to_failure(self, depth: float, minutes: float, session_minutes: float, rng: np.random.Generator) -> float:
        """Draw the hours of load after which a run started then fails; infinity when not within ``minutes``."""
        at = rng.exponential()
        stray = rng.exponential() / self.background if self.background > 0 else math.inf
        rate = 10.0 ** min((depth - self.edge) / self.per_decade, 12.0)
        if self.shape != 1.0:
            mean_factor = math.gamma(1.0 + 1.0 / self.shape)
            found = at ** (1.0 / self.shape) / (rate * mean_factor)
        elif self.warm_drop or self.swing:
            found = self._moving(depth, minutes, session_minutes, at)
        else:
            found = at / rate
        found = min(found, stray)
        return found if found * 60.0 < minutes else math.inf

    def _moving(self, depth: float, minutes: float, session_minutes: float, target: float) -> float:
        """Hours at which the hazard summed over a moving edge reaches ``target``; infinity when it does not."""
        steps = max(1, math.ceil(minutes / _STEP_MINUTES))
        clock = session_minutes + (np.arange(steps) + 0.5) * _STEP_MINUTES
        shift = self.warm_drop * (1.0 - np.exp(-clock / self.warm_minutes))
        shift += self.swing * np.sin(2.0 * np.pi * clock / self.swing_minutes + self.swing_phase)
        total = np.cumsum(10.0 ** np.minimum((depth + shift - self.edge) / self.per_decade, 12.0)) * _STEP_MINUTES / 60
        at = int(np.searchsorted(total, target))
        if at >= steps:
            return math.inf
        before = float(total[at - 1]) if at else 0.0
        return (at + (target - before) / (float(total[at]) - before)) * _STEP_MINUTES / 60.0

    def run(
        self, depth: float, minutes: float, session_minutes: float, rng: np.random.Generator
    ) -> tuple[Evidence, float, bool]:
        """Make a run. Returns what is written down, the minutes under load it took, and whether it failed in truth."""
        hours = self.hours_to_failure(depth, minutes, session_minutes, rng)
        failed = math.isfinite(hours)
        soft = failed and bool(rng.random() < self.soft_share)
        told = failed != bool(rng.random() < self.mislogged)
        lasted = minutes if not failed or self.late else hours * 60.0
        if told and failed:
            seen = Evidence(depth, lasted, True, timed=not self.late, soft=soft)
        elif told:
            seen = Evidence(depth, lasted, True, timed=not self.late)
        else:
            seen = Evidence(depth, minutes, False)
        return seen, lasted, failed
