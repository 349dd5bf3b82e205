"""The ladder: the common practice that the search is measured against.

A fixed step further each run until one fails, a fixed back-off, one long soak there. *Common practice, no source.*
Its claim rests on habit: the certificate it gives names the goal, though a soak of two hours bears out no such MTTF.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.units import Knob

RUNG_MINUTES = 15.0
SOAK_MINUTES = 120.0
PER_MV = {"mV": 1.0, "V": 0.001, "uV": 1000.0, "µV": 1000.0, "MHz": 3.0, "GHz": 0.003, "kHz": 3000.0}
"""What habit takes for the like of 1 mV on a knob of another unit; else 1/250 of the limit. *A guess*."""


@dataclass(frozen=True)
class LadderStrategy:
    """A ladder with its back-off; 10 mV up, 10 mV back, and the like of it on a knob of another unit."""

    back_off_mv: float = 10.0
    rung_mv: float = 10.0
    name: str = "ladder"

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """The next rung, the soak after the first failure, or the stop."""
        at = self._standing(knob, evidence)
        if at is None:
            deepest = max((piece.depth for piece in evidence), default=None)
            rung = _steps(self.rung_mv, knob, up=True)
            depth = 0.0 if deepest is None else min(deepest + rung, knob.deepest)
            return Proposal(
                False,
                depth,
                RUNG_MINUTES,
                0.0,
                f"The next rung: {RUNG_MINUTES:g} min at {knob.describe(depth)}.",
                settles="Whether this rung holds.",
            )
        if self._soaked(at, evidence):
            claim = f"{knob.describe(at)} held the soak of {SOAK_MINUTES / 60:g} h; habit calls that stable."
            why = "limit" if not any(piece.failed for piece in evidence) else "certified"
            return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {claim}", why_stop=why, claim=claim)
        if at <= 0 and any(piece.failed and piece.depth <= 0 for piece in evidence):
            return Proposal(True, 0.0, 0.0, 0.0, "Stop: it failed at stock.", why_stop="faulty")
        return Proposal(
            False,
            at,
            SOAK_MINUTES,
            0.0,
            f"Back off to {knob.describe(at)} and soak for {SOAK_MINUTES / 60:g} h.",
            settles="Whether the backed-off setting holds the soak.",
        )

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The soaked setting. ``mttf_hours`` is what the soak alone bears out (chi-square), not the goal."""
        at = self._standing(knob, evidence)
        if at is None or not self._soaked(at, evidence):
            return None
        hours = sum(piece.minutes for piece in evidence if piece.depth >= at) / 60.0
        failures = sum(piece.failed for piece in evidence if piece.depth <= at)
        soaked = sum(piece.minutes for piece in evidence if piece.depth == at) / 60.0
        return Certificate(at, mttf_lower_bound(soaked, 0, goal.confidence), goal.confidence, hours, failures)

    def _standing(self, knob: Knob, evidence: Sequence[Evidence]) -> float | None:
        """The depth to soak at: behind the shallowest failure by the back-off, or the limit once it held."""
        failed = [piece.depth for piece in evidence if piece.failed]
        if not failed:
            reached = max((piece.depth for piece in evidence), default=0.0)
            return knob.deepest if evidence and reached >= knob.deepest - 1e-9 else None
        back = _steps(self.back_off_mv, knob, up=True)
        return max(0.0, math.floor((min(failed) - back) / knob.step + 1e-9) * knob.step)

    def _soaked(self, depth: float, evidence: Sequence[Evidence]) -> bool:
        return any(
            not piece.failed and abs(piece.depth - depth) < 1e-9 and piece.minutes >= SOAK_MINUTES - 1e-6
            for piece in evidence
        )


def _steps(millivolts: float, knob: Knob, *, up: bool) -> float:
    """A length in mV as whole steps of the knob, at least one; scaled by habit where it is no voltage."""
    per_mv = PER_MV.get(knob.unit, knob.limit / 250.0)
    length = millivolts * per_mv / knob.step
    return max(1.0, math.ceil(length - 1e-9) if up else math.floor(length + 1e-9)) * knob.step
