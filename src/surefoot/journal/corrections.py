"""Corrections: a later word on a run that was written wrongly. The run's own record stays as it was."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from surefoot.errors import BadInput
from surefoot.journal.base import Records, as_text
from surefoot.journal.failures import unreadable
from surefoot.journal.moments import moment, stamp
from surefoot.runs import Closing, Correction, Outcome, Run, RunPlan
from surefoot.units import Conditions, Setting, validated

CONDITIONS: Final = tuple(Conditions.model_fields)
FIELDS: Final = ("setting", "outcome", "minutes", "timed", "load", "opened_at", "note", *CONDITIONS)
"""What of a run can be corrected: the names that ``changes`` may hold. ``setting``: a dictionary of signed offsets;
``opened_at``: a text in ISO 8601."""


class CorrectionRecords(Records):
    """The Journal's part that knows corrections."""

    def _write_correction(
        self, before: Run, kind: str, changes: Mapping[str, Any], who: str, why: str, at: datetime | None
    ) -> Correction:
        """Append a correction, checked against the run as it stands. Only inside a transaction."""
        if not why.strip():
            raise BadInput("a correction says why.", where=f"run {before.id}", remedy="Give --why.")
        if before.closing is None:
            raise BadInput(
                "the run is still open.", where=f"run {before.id}", remedy="`surefoot tune` judges it first."
            )
        made = Correction.model_validate(
            {"at": moment(stamp(at)), "who": who.strip() or "unknown", "kind": kind, "why": why.strip()}
            | {"changes": dict(changes)}
        )
        corrected(before, [made])
        self._store.insert(
            "corrections",
            run_id=before.id,
            at=stamp(made.at),
            who=made.who,
            kind=made.kind,
            why=made.why,
            changes=as_text(made.changes),
        )
        return made

    def _corrections(self, where: str, parameters: tuple[Any, ...]) -> dict[int, list[Correction]]:
        """The corrections by run, oldest first. ``where``: a condition on corrections, of our own making."""
        found: dict[int, list[Correction]] = {}
        for row in self._store.rows(f"SELECT * FROM corrections WHERE {where} ORDER BY id", parameters):
            try:
                found.setdefault(row["run_id"], []).append(_correction_of(row))
            except (TypeError, ValueError) as error:
                raise unreadable(self._store.path, f"a correction of run {row['run_id']}", error) from error
        return found


def _correction_of(row: sqlite3.Row) -> Correction:
    return Correction(
        at=moment(row["at"]), who=row["who"], kind=row["kind"], why=row["why"], changes=json.loads(row["changes"])
    )


def corrected(run: Run, corrections: Iterable[Correction]) -> Run:
    """The run as it stands after corrections, in order. Raises BadInput for a field or a value that cannot be."""
    for correction in corrections:
        run = _after(run, correction)
    return run


def _after(run: Run, correction: Correction) -> Run:
    changes, where = correction.changes, f"run {run.id}"
    unknown = [name for name in changes if name not in FIELDS]
    if unknown:
        raise BadInput(f"{unknown[0]!r} of a run cannot be corrected.", where=where, remedy=f"What can: {FIELDS}.")
    if any(value is None for value in changes.values()):
        raise BadInput("a correction gives a value.", where=where)
    assert run.closing is not None
    plan, closing = run.plan.model_dump(), run.closing.model_dump()
    update: dict[str, Any] = {}
    if "setting" in changes:
        plan["setting"] = validated(Setting, {"values": changes["setting"]}, where).model_dump()
        closing["setting"], update["applied"] = None, None
    plan |= {name: changes[name] for name in ("load", "note") if name in changes}
    plan["conditions"] |= {name: changes[name] for name in CONDITIONS if name in changes}
    closing |= {name: changes[name] for name in ("minutes", "timed") if name in changes}
    if "outcome" in changes:
        closing["outcome"] = _outcome(changes["outcome"], where)
    if "opened_at" in changes:
        update["opened_at"] = moment(str(changes["opened_at"]))
        if run.closed_at is not None:
            update["closed_at"] = update["opened_at"] + timedelta(minutes=closing["minutes"])
    verb = "voided" if correction.kind == "void" else "amended"
    closing["judged_by"] = f"{run.closing.judged_by}; {verb} by {correction.who}: {correction.why}"
    return run.model_copy(
        update={
            **update,
            "plan": validated(RunPlan, plan, where),
            "closing": validated(Closing, closing, where),
            "corrections": (*run.corrections, correction),
        }
    )


def _outcome(text: str, where: str) -> Outcome:
    try:
        return Outcome(text)
    except ValueError:
        raise BadInput(f"there is no outcome {text!r}.", where=where) from None
