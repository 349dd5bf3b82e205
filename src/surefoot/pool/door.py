"""The one door to what a pool lends a unit: used by the guide, and by the report, which knows no guide."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from surefoot.errors import BadInput, SurefootError
from surefoot.pool.evidence import code
from surefoot.search import Goal
from surefoot.units import Unit


def pool_of(unit: Unit, given: Path | None) -> Path | None:
    """The pool to use: the one given, else the card's, else none."""
    if given is not None:
        return given.expanduser()
    return Path(unit.pool).expanduser() if unit.pool else None


def lent_goal(unit: Unit, goal: Goal, identity: str, given: Path | None = None, load: str | None = None) -> Goal:
    """The goal with what the pool given, or the card's, lends the unit; as it is where there is none.

    ``identity``: of the unit, since nobody is lent their own runs (`Journal.identity`). Raises BadInput when the file
    is no pool, or it knows nothing of the unit's kind.
    """
    path = pool_of(unit, given)
    if path is None:
        return goal
    from surefoot.pool.lending import kind_of, lent_to

    loads = {knob.name: load for knob in unit.leaders()} if load else None
    lent = lent_to(path, unit, loads=loads, without=code(identity))
    if lent is None:
        kinds = ", ".join(sorted({kind_of(unit, knob).platform for knob in unit.leaders()}))
        raise BadInput(
            f"the pool knows no unit like {unit.name!r} (platform: {kinds}).",
            where=str(path),
            remedy="`surefoot pool show FILE` lists what it knows. Tune without it, or name the platform on the card.",
        )
    return replace(goal, lent=lent)


def lent_by_card(unit: Unit, goal: Goal, identity: str) -> tuple[Goal, str]:
    """As `lent_goal` with the card's pool; where that cannot be used, the goal as it is, and why, in words."""
    try:
        return lent_goal(unit, goal, identity), ""
    except SurefootError as error:
        return goal, f"the card's pool cannot be used ({error.what.rstrip('.')}); what it lent is left out"
