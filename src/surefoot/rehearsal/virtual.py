"""A virtual unit: silicon whose truth is known, so that a search can be judged by it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surefoot.search import Evidence

_STEP_MINUTES = 0.5
HARSH_CYCLE_MINUTES = 10.0
HARSH_SHARE = 0.1
"""A load with a harsher minority: its cycle, and the share of it that is harsher."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


@dataclass(frozen=True)
class VirtualUnit:
    """One unit's truth for one knob.

    ``edge``: the depth at which the MTTF is one hour of load, and ``per_decade``: depth per decade of hazard, both in
    the knob's unit. The rest is where a unit differs from what the search believes: ``background`` failures per hour
    that no depth explains; ``shape`` of the Weibull time to failure (1: exponential; each run starts anew); the edge
    moving in a session: shallower by ``warm_drop`` once warm (time constant ``warm_minutes``) and swinging by
    ``swing`` either way over ``swing_minutes`` from ``swing_phase`` (radians); ``mislogged``: chance that an outcome
    is written down the wrong way round; ``late``: failures are found only when the planned time is over;
    ``soft_share``: share of failures that the load catches itself; ``jitter``: standard deviation of the edge from run
    to run; ``harsh_drop``: how much shallower the edge is in the harsher minute of every ten of the load, which starts
    anywhere in its ten minutes; ``most_per_hour``: a hazard never grows past this.
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
    jitter: float = 0.0
    harsh_drop: float = 0.0
    most_per_hour: float = math.inf

    def hazard(self, depth: float) -> float:
        """Failures per hour of long use at a depth: warm, averaged over the swing, the load's harsher minutes and the
        jitter of hour-long runs, background included."""
        rate = math.pow(10.0, (depth + self.warm_drop - self.edge) / self.per_decade)
        # Mean of exp(a sin) over a cycle is the modified Bessel function I0(a).
        rate *= float(np.i0(math.log(10.0) * self.swing / self.per_decade))
        if self.harsh_drop:
            rate *= 1.0 + HARSH_SHARE * (10.0 ** (self.harsh_drop / self.per_decade) - 1.0)
        if self.jitter:
            # A run of an hour fails with chance 1 - exp(-rate); Gauss-Hermite over the normal edge of each run.
            runs = rate * 10.0 ** (self.jitter * _NODES / self.per_decade)
            rate = float(_WEIGHTS @ -np.expm1(-np.minimum(runs, 700.0)))
        return min(rate, self.most_per_hour) + self.background

    def mttf_hours(self, depth: float) -> float:
        """The true MTTF at a depth, hours."""
        return 1.0 / self.hazard(depth)

    def best_depth(self, mttf_hours: float, limit: float) -> float:
        """The deepest depth, not rounded to a step, whose true MTTF is at least a goal; 0 when even stock's is not."""
        left = 1.0 / mttf_hours - self.background
        if left <= 0:
            return 0.0
        if self.jitter or self.harsh_drop:
            return self._best_by_halving(mttf_hours, limit)
        if left >= self.most_per_hour:
            return limit
        swing = math.log10(float(np.i0(math.log(10.0) * self.swing / self.per_decade)))
        depth = self.edge - self.warm_drop + self.per_decade * (math.log10(left) - swing)
        return min(max(depth, 0.0), limit)

    def _best_by_halving(self, mttf_hours: float, limit: float) -> float:
        low, high = 0.0, limit
        if self.mttf_hours(high) >= mttf_hours:
            return high
        for _ in range(50):
            middle = 0.5 * (low + high)
            if self.mttf_hours(middle) >= mttf_hours:
                low = middle
            else:
                high = middle
        return low

    def hours_to_failure(self, depth: float, minutes: float, session_minutes: float, rng: np.random.Generator) -> float:
        """Draw the hours of load after which a run started then fails; infinity when not within ``minutes``."""
        at = rng.exponential()
        stray = rng.exponential() / self.background if self.background > 0 else math.inf
        if self.jitter:
            depth += self.jitter * float(rng.normal())
        rate = min(10.0 ** min((depth - self.edge) / self.per_decade, 12.0), self.most_per_hour)
        if self.shape != 1.0:
            mean_factor = math.gamma(1.0 + 1.0 / self.shape)
            found = at ** (1.0 / self.shape) / (rate * mean_factor)
        elif self.warm_drop or self.swing:
            found = self._moving(depth, minutes, session_minutes, at)
        elif self.harsh_drop:
            found = self._in_phases(depth, float(rng.uniform(0.0, HARSH_CYCLE_MINUTES)), at)
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

    def _in_phases(self, depth: float, began: float, target: float) -> float:
        """Hours at which the hazard summed over mild and harsh minutes reaches ``target``; ``began``: minutes into the
        cycle, which ends with its harsh minutes."""
        mild = math.pow(10.0, min((depth - self.edge) / self.per_decade, 12.0)) / 60.0
        harsh = math.pow(10.0, min((depth + self.harsh_drop - self.edge) / self.per_decade, 12.0)) / 60.0
        mild_minutes = HARSH_CYCLE_MINUTES * (1.0 - HARSH_SHARE)
        cycle = mild * mild_minutes + harsh * (HARSH_CYCLE_MINUTES - mild_minutes)
        # As if it had begun with the cycle: what had summed up before the start is added to the target.
        before = mild * min(began, mild_minutes) + harsh * max(began - mild_minutes, 0.0)
        whole, left = divmod(target + before, cycle)
        inside = left / mild if left <= mild * mild_minutes else mild_minutes + (left - mild * mild_minutes) / harsh
        return (whole * HARSH_CYCLE_MINUTES + inside - began) / 60.0

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
