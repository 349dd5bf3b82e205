"""What would be tried next: the plan on the journal as it is, nothing written."""

from __future__ import annotations

from surefoot.journal import Journal
from surefoot.search import Goal, Step, assess, run_evidence
from surefoot.search.effort import EFFORTS
from surefoot.search.joint_goal import goal_in_unit
from surefoot.search.prospect import Prospect, prospects
from surefoot.search.use_growth import use_words
from surefoot.units import Conditions, Unit


def preview(journal: Journal, unit: Unit, goal: Goal, knobs: tuple[str, ...] | None, strategy: str) -> Step:
    """The next step of a unit under its card's present firmware and driver. Raises BadInput for an unknown knob."""
    for name in knobs or ():
        unit.knob(name)
    conditions = Conditions(firmware=unit.firmware, driver=unit.driver)
    runs = journal.runs(unit.name)
    return assess(unit, runs, goal, knobs=knobs, strategy=strategy, conditions=conditions).step


def more_effort(journal: Journal, unit: Unit, goal: Goal, step: Step) -> dict[str, tuple[Prospect, ...]]:
    """What the goal's effort and each greater one would still take and give, by knob: the one under search, or all.

    Each knob by itself, the others left as they are. Empty where the unit failed at stock.
    """
    if step.why_stop == "faulty":
        return {}
    conditions = Conditions(firmware=unit.firmware, driver=unit.driver)
    runs = journal.runs(unit.name)
    wanted = tuple(EFFORTS)[tuple(EFFORTS).index(goal.effort) :]
    return {
        knob.name: prospects(
            knob, run_evidence(unit, runs, knob.name, conditions=conditions), goal_in_unit(knob, goal), efforts=wanted
        )
        for knob in unit.leaders()
        if step.knob in ("", knob.name)
    }


def use_so_far(journal: Journal, unit: Unit, goal: Goal) -> tuple[str, ...]:
    """What ordinary use has brought, in sentences; () where there was none."""
    conditions = Conditions(firmware=unit.firmware, driver=unit.driver)
    return use_words(unit, journal.runs(unit.name), goal, conditions=conditions)
