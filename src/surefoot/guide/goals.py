"""The goal of a unit: its card's word, changed by what was asked for this time."""

from __future__ import annotations

import dataclasses
from typing import Any

from surefoot.search import Goal
from surefoot.units import Unit


def goal_for(unit: Unit, **changes: Any) -> Goal:
    """The goal on the unit's card with the given fields of `Goal` replaced (None: left). Raises BadInput."""
    goal = Goal(mttf_hours=unit.goal.mttf_hours, confidence=unit.goal.confidence, effort=unit.goal.effort)
    return dataclasses.replace(goal, **{name: value for name, value in changes.items() if value is not None})


def goal_words(goal: Goal) -> str:
    """``MTTF of at least 100 h of load at 90 %``."""
    return f"MTTF of at least {goal.mttf_hours:g} h of load at {goal.confidence:.0%}"
