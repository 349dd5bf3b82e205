"""A run that was written wrongly: what it should have said, and whether that looks like a slip as well."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any, Final

from surefoot.errors import BadInput
from surefoot.guide.outside import Told, date_of, minutes_named, moment_of, outcome_named, setting_told, values_of
from surefoot.guide.slips import slips
from surefoot.journal import Journal
from surefoot.journal.corrections import corrected
from surefoot.runs import Correction, Run
from surefoot.units import Unit

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


def others(runs: Iterable[Run], run: Run) -> list[Run]:
    """Every other run."""
    return [one for one in runs if one.id != run.id]
