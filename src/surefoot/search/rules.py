"""The safety rules: separate from all arithmetic, applied last, to every strategy alike.

Evidence is in the order in which the runs were made. A run counts as held for a rule when it passed and lasted at
least a minute under load.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from surefoot.search.evidence import Evidence, Goal, Proposal
from surefoot.units import Knob

SHORTEST_HOLD_MINUTES = 1.0
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the rules allow next.

    ``ceiling``: the deepest depth that may be run, a whole step; ``why``: the rule that sets it, in words;
    ``stop``: ``faulty``, ``failures`` or "" when a run is allowed.
    """

    ceiling: float
    why: str
    stop: str = ""


def held(piece: Evidence) -> bool:
    """Whether a run counts as held for the rules."""
    return not piece.failed and piece.minutes >= SHORTEST_HOLD_MINUTES - _ROUNDING


def deepest_held(evidence: Sequence[Evidence]) -> float | None:
    """The deepest depth that held, or None when nothing has."""
    depths = [piece.depth for piece in evidence if held(piece)]
    return max(depths) if depths else None


def allowed(knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Allowed:
    """What may be run next, whatever a strategy would like."""
    if any(piece.failed and piece.depth <= _ROUNDING for piece in evidence):
        return Allowed(0.0, "it failed at stock", "faulty")
    failures = sum(piece.failed for piece in evidence)
    if failures >= goal.max_failures:
        return Allowed(0.0, f"{failures} failures of {goal.max_failures} allowed are used up", "failures")
    if not any(held(piece) and piece.depth <= _ROUNDING for piece in evidence):
        return Allowed(0.0, "the first run is at stock")
    deepest = deepest_held(evidence) or 0.0
    ceiling = deepest + goal.max_stride
    why = f"{goal.max_stride:g} {knob.unit} past {knob.describe(deepest)}, the deepest that held"
    unanswered = _shallowest_unanswered(evidence)
    if unanswered is not None and ceiling > deepest:
        ceiling = deepest
        why = f"nothing shallower than the failure at {knob.describe(unanswered)} has held since"
    if ceiling > knob.deepest:
        ceiling, why = knob.deepest, f"the knob's limit of {knob.limit:g} {knob.unit}"
    return Allowed(math.floor(ceiling / knob.step + _ROUNDING) * knob.step, why)


def _shallowest_unanswered(evidence: Sequence[Evidence]) -> float | None:
    """The shallowest failure since which nothing shallower than it has held, or None."""
    found: float | None = None
    shallowest_held_since = math.inf
    for piece in reversed(evidence):
        if held(piece):
            shallowest_held_since = min(shallowest_held_since, piece.depth)
        elif piece.failed and shallowest_held_since >= piece.depth:
            found = piece.depth if found is None else min(found, piece.depth)
    return found


def enforce(proposal: Proposal, knob: Knob, evidence: Sequence[Evidence], goal: Goal) -> Proposal:
    """The proposal made safe: stopped, or its depth brought up to the ceiling and to a whole step of the knob.

    A stop is never turned into a run.
    """
    rule = allowed(knob, evidence, goal)
    if rule.stop == "faulty" or (rule.stop and not proposal.stop):
        return Proposal(True, 0.0, 0.0, 0.0, f"Stop: {rule.why}.", why_stop=rule.stop, claim=proposal.claim)
    if proposal.stop:
        return proposal
    depth = math.floor(max(proposal.depth, 0.0) / knob.step + _ROUNDING) * knob.step
    if depth <= rule.ceiling + _ROUNDING:
        return proposal if depth == proposal.depth else replace(proposal, depth=depth)
    reason = f"{proposal.reason.rstrip('.')}; brought up to {knob.describe(rule.ceiling)}: {rule.why}."
    return replace(proposal, depth=rule.ceiling, reason=reason)
