"""A run that was written wrongly: what it should have said, and whether that looks like a slip as well."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from surefoot.errors import BadInput
from surefoot.guide.goals import goal_for
from surefoot.guide.outside import Told, date_of, minutes_named, moment_of, outcome_named, setting_told, values_of
from surefoot.guide.pooling import goal_with_card_pool
from surefoot.guide.recall import known_now
from surefoot.guide.slips import slips
from surefoot.journal import Journal
from surefoot.journal.corrections import corrected
from surefoot.runs import Correction, Run
from surefoot.units import Unit


@dataclass(frozen=True, slots=True)
class Effect:
    """What a correction would do. ``says``: that a failure is lost or a claim gets deeper, in words; ``deeper``:
    whether a claim does."""

    says: tuple[str, ...] = ()
    deeper: bool = False


ASKED: Final = ("load", "note", "power_mode", "ambient_celsius", "timed")
"""Fields that are taken as they were given."""


def changes_told(
    unit: Unit, run: Run, values: Mapping[str, str], texts: Mapping[str, str | None], fields: Mapping[str, Any]
) -> dict[str, Any]:
    """What a correction changes, from what was typed. ``values``: by knob, the others stay; ``texts``: ``outcome``,
    ``minutes`` and ``when``, None where not given; ``fields``: see `ASKED`, None where not given.

    Raises BadInput for what is not understood or cannot be, and when nothing was given.
    """
    changes: dict[str, Any] = {name: fields[name] for name in ASKED if fields.get(name) is not None}
    if values:
        given = setting_told(unit, values_of(unit, values)).values
        moved = set(values) | {one.name for name in values for one in unit.followers(name)}
        kept = {name: value for name, value in run.setting.values.items() if name not in moved}
        changes["setting"] = {**kept, **given}
    if (outcome := texts.get("outcome")) is not None:
        changes["outcome"] = outcome_named(outcome).value
    if (minutes := texts.get("minutes")) is not None:
        changes["minutes"] = minutes_named(minutes)
    if when := texts.get("when"):
        moment = moment_of(when, "--when")
        assert moment is not None
        changes["opened_at"] = moment.isoformat()
    if not changes:
        raise BadInput("nothing to change was given.", remedy="Say it with --set, --outcome, --minutes, --when, ...")
    return changes


def doubts_of(
    journal: Journal, unit: Unit, run: Run, changes: Mapping[str, Any], now: datetime, *, when: str | None = None
) -> tuple[str, ...]:
    """What would look like a slip in the run as it would stand then, and does not now, in words."""
    if run.closing is None:
        raise BadInput("the run is still open.", where=f"run {run.id}", remedy="`surefoot tune` judges it first.")
    tried = Correction(at=now, who="", kind="amend", why="", changes=dict(changes))
    whole_day = bool(when) and date_of(when or "", "--when").whole_day
    rest = others(journal.runs(unit.name), run)

    def said_of(one: Run, whole_day: bool) -> tuple[str, ...]:
        assert one.closing is not None
        return slips(unit, [Told(one.plan, one.closing, one.opened_at, whole_day)], rest, now)[0]

    # What was odd of the run before, and was let stand then, is not asked again.
    before = said_of(run, False)
    return tuple(text for text in said_of(corrected(run, [tried]), whole_day) if text not in before)


def effect_of(journal: Journal, unit: Unit, run: Run, changes: Mapping[str, Any], now: datetime) -> Effect:
    """What a correction does to the evidence. ``changes``: {"outcome": "void"} takes the run out."""
    if run.closing is None:
        return Effect()
    tried = Correction(at=now, who="", kind="amend", why="", changes=dict(changes))
    after = corrected(run, [tried])
    runs = journal.runs(unit.name)
    goal = goal_with_card_pool(journal, unit, goal_for(unit))[0]
    was = known_now(unit, runs, goal).known
    would_be = known_now(unit, [after if one.id == run.id else one for one in runs], goal).known
    found = []
    if _fails(unit, run) and not _fails(unit, after):
        found.append(f"run {run.id} failed ({run.closing.outcome.value}), and would count as a failure no more")
    deeper = would_be is not None and any(
        unit.knob(name).depth_of(value) > (unit.knob(name).depth_of(was.setting.value(name)) if was else 0.0) + 1e-9
        for name, value in would_be.setting.values.items()
    )
    if deeper and would_be is not None:
        instead = was.setting.describe(unit) if was else "nothing"
        found.append(f"{would_be.setting.describe(unit)} would be certified then, and not {instead}")
    return Effect(tuple(found), deeper)


def _fails(unit: Unit, run: Run) -> bool:
    return run.outcome is not None and any(run.outcome.verdict(knob) for knob in unit.knobs)


def others(runs: Iterable[Run], run: Run) -> list[Run]:
    """Every other run."""
    return [one for one in runs if one.id != run.id]
