"""What the literature's procedures share: the length of a run, the way back to the goal, and the claim for a depth."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surefoot.search.evidence import Certificate, Evidence, Goal
from surefoot.search.prior import typical_per_decade
from surefoot.units import Knob

RUN_MINUTES = 5.0
"""Length of every run. Of 5, 10 and 15 min, 5 served each of them best on the reference population (hours at equal
honesty), so they are shown at their best."""


def decades_to_goal(goal: Goal, minutes: float = RUN_MINUTES) -> float:
    """Decades of hazard between the depth where half the runs of ``minutes`` fail and the one that meets the goal.

    Half fail where hazard times hours is ln 2; the goal is met at a hazard of 1 / mttf_hours.
    """
    return math.log10(math.log(2.0) * 60.0 / minutes * goal.mttf_hours)


def wide_per_decade(knob: Knob, goal: Goal) -> float:
    """A depth per decade that few units exceed: the typical one, wider by a log-normal spread of 0.35 at the goal's
    confidence. *Common practice, no source.*"""
    from statistics import NormalDist

    return typical_per_decade(knob) * math.exp(0.35 * NormalDist().inv_cdf(goal.confidence))


def certificate(knob: Knob, depth: float, evidence: Sequence[Evidence], goal: Goal) -> Certificate | None:
    """The claim for a depth on whole steps, no deeper than the deepest that held; None when nothing held."""
    held = [piece.depth for piece in evidence if not piece.failed]
    if not held:
        return None
    depth = min(max(depth, 0.0), max(held), knob.deepest)
    depth = math.floor(depth / knob.step + 1e-9) * knob.step
    return Certificate(
        depth=depth,
        mttf_hours=goal.mttf_hours,
        confidence=goal.confidence,
        hours=sum(piece.minutes for piece in evidence if piece.depth >= depth - 1e-9) / 60.0,
        failures=sum(piece.failed for piece in evidence if piece.depth <= depth + 1e-9),
    )
