"""What would be tried next: the plan on the journal as it is, nothing written."""

from __future__ import annotations

from surefoot.journal import Journal
from surefoot.search import Goal, Step, assess
from surefoot.units import Conditions, Unit


def preview(journal: Journal, unit: Unit, goal: Goal, knobs: tuple[str, ...] | None, strategy: str) -> Step:
    """The next step of a unit under its card's present firmware and driver. Raises BadInput for an unknown knob."""
    for name in knobs or ():
        unit.knob(name)
    conditions = Conditions(firmware=unit.firmware, driver=unit.driver)
    runs = journal.runs(unit.name)
    return assess(unit, runs, goal, knobs=knobs, strategy=strategy, conditions=conditions).step
