"""Plain bisection: halve the range between what held and what failed, one run a halving.

On a noise-free edge and with the stride rule out of the way it needs ceil(log2(range / step)) runs after the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.search.bounds import mttf_lower_bound
from surefoot.search.evidence import Certificate, Evidence, Goal, Proposal
from surefoot.units import Knob

HALVING_MINUTES = 15.0


@dataclass(frozen=True)
class BisectionStrategy:
    """Bisection over the knob's whole steps, the deepest that held being the answer."""

    minutes: float = HALVING_MINUTES
    name: str = "bisection"

    def propose(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
        """The middle of what is not settled yet, or the stop."""
        if not evidence:
            return Proposal(False, 0.0, self.minutes, 0.0, f"First {self.minutes:g} min at stock.")
        low, high = self._bracket(knob, evidence)
        if high - low <= 1:
            depth = low * knob.step
            claim = f"{knob.describe(depth)} held {self.minutes:g} min and one step deeper did not."
            why = "certified" if any(piece.failed for piece in evidence) else "limit"
            return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {claim}", why_stop=why, claim=claim)
        middle = (low + high) // 2 * knob.step
        return Proposal(
            False,
            middle,
            self.minutes,
            0.5,
            f"Half way between {knob.describe(low * knob.step)} that held and {knob.describe(high * knob.step)}.",
            settles="Which half of the range the edge is in.",
        )

    def recommend(self, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
        """The deepest that held below the shallowest failure; ``mttf_hours`` is what its minutes alone bear out."""
        if not any(not piece.failed for piece in evidence):
            return None
        depth = self._bracket(knob, evidence)[0] * knob.step
        there = sum(piece.minutes for piece in evidence if abs(piece.depth - depth) < 1e-9) / 60.0
        hours = sum(piece.minutes for piece in evidence if piece.depth >= depth) / 60.0
        failures = sum(piece.failed for piece in evidence if piece.depth <= depth)
        return Certificate(depth, mttf_lower_bound(there, 0, goal.confidence), goal.confidence, hours, failures)

    def _bracket(self, knob: Knob, evidence: Sequence[Evidence]) -> tuple[int, int]:
        """Steps known to hold and known (or taken) to fail: whole numbers of the knob's step."""
        most = round(knob.deepest / knob.step)
        failed = [int(piece.depth / knob.step + 1e-9) for piece in evidence if piece.failed]
        high = min(failed, default=most + 1)
        held = [int(piece.depth / knob.step + 1e-9) for piece in evidence if not piece.failed]
        return max((step for step in held if step < high), default=0), high
