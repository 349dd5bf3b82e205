"""The search's sentences: the one place where a claim, a chance and what both rest on are worded."""

from __future__ import annotations

from surefoot.search.evidence import Certificate, Goal
from surefoot.units import Knob


def chance_words(chance: float) -> str:
    """The chance that a run fails, never said to be none: ``fails with a chance of 12 %``, ``... under 1 %``."""
    return f"fails with a chance of {percent(chance)}"


def percent(chance: float) -> str:
    """A chance as a percentage that is never 0 or 100: ``under 1 %``, ``12 %``, ``over 99 %``."""
    if chance < 0.01:
        return "under 1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{chance * 100:.0f} %"


def claim_text(known: Certificate | None, knob: Knob, goal: Goal) -> str:
    """What may be claimed of one knob, in short."""
    if known is None:
        return f"Nothing is known to hold for {goal.mttf_hours:g} h of load at {goal.confidence:.0%} yet."
    return (
        f"{knob.describe(known.depth)} holds with an MTTF of at least {goal.mttf_hours:g} h of load "
        f"at {known.confidence:.0%} confidence."
    )
