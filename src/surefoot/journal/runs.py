"""Runs: opened before the setting is applied, kept alive by heartbeats, closed once."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager
from datetime import datetime, timedelta
from typing import Any

from pydantic import ValidationError

from surefoot.errors import BadInput, JournalError
from surefoot.journal import locks
from surefoot.journal.base import as_text
from surefoot.journal.cards import CardRecords
from surefoot.journal.corrections import CorrectionRecords, corrected
from surefoot.journal.failures import unreadable
from surefoot.journal.moments import moment, stamp
from surefoot.journal.reserve import keep_reserve
from surefoot.journal.traces import TraceRecords
from surefoot.runs import Closing, Correction, Outcome, Place, Run, RunPlan, Trace
from surefoot.units import Conditions, Setting, Unit

_RUNS = """
SELECT runs.*, closings.run_id IS NOT NULL AS closed, closings.at AS closed_at, closings.outcome AS outcome,
    closings.minutes AS minutes, closings.timed AS timed, closings.judged_by AS judged_by,
    closings.setting AS closing_setting, closings.detail AS detail, closings.note AS closing_note,
    (SELECT setting FROM applications WHERE run_id = runs.id ORDER BY id DESC LIMIT 1) AS applied,
    (SELECT count(*) FROM heartbeats WHERE run_id = runs.id) AS heartbeats,
    (SELECT max(minutes) FROM heartbeats WHERE run_id = runs.id) AS last_minutes,
    trial_runs.trial_id AS trial_id, trial_runs.block AS block, trial_runs.position AS position
FROM runs LEFT JOIN closings ON closings.run_id = runs.id LEFT JOIN trial_runs ON trial_runs.run_id = runs.id
"""


class RunRecords(CardRecords, TraceRecords, CorrectionRecords):
    """The Journal's part that knows runs."""

    _writing: set[str]

    @contextmanager
    def writer(self, unit_name: str) -> Iterator[None]:
        """Be the one writer of a unit while the block runs; the lock dies with the process.

        Raises JournalError saying who holds it, BadInput for an unknown unit.
        """
        self._known_unit(unit_name)
        with self._lock(unit_name):
            self._writing.add(unit_name)
            keep_reserve(self._store.path.parent)
            try:
                yield
            finally:
                self._writing.discard(unit_name)

    def _lock(self, unit_name: str) -> AbstractContextManager[locks.Holder]:
        folder = self._store.path.resolve().parent
        return locks.held(
            folder, f"{self._store.path.name}: {unit_name}", f"unit {unit_name!r} is being written by another session"
        )

    def open_run(self, plan: RunPlan, *, at: datetime | None = None) -> int:
        """Write a run down before its setting is applied; its id. On disk when this returns.

        Raises BadInput for an unknown or retired unit, a setting that is not on the card or is past a knob's limit;
        JournalError when another process writes this unit or a run of it is still open.
        """
        with ExitStack() as stack:
            if plan.unit_name not in self._writing:
                self._known_unit(plan.unit_name)
                stack.enter_context(self._lock(plan.unit_name))
            stack.enter_context(self._store.transaction())
            unit = self._usable(plan.unit_name)
            _within_limits(unit, plan.setting)
            still = self._open_run(plan.unit_name)
            if still is not None:
                raise JournalError(
                    f"run {still} of unit {plan.unit_name!r} is still open.",
                    remedy="`surefoot tune` judges it first; or close it by hand with `surefoot log`.",
                )
            return self._insert_run(plan, stamp(at))

    def applied(self, run_id: int, setting: Setting) -> None:
        """Write down the setting as read back before the load is started; the last one counts.

        Raises JournalError when the run is closed. Whatever was read back is taken, also what should not be there.
        """
        with self._store.transaction():
            self._refuse_closed(run_id, "a setting read back")
            self._store.insert("applications", run_id=run_id, at=stamp(), setting=_setting_text(setting))

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        """Write down that the load has been held for ``minutes``, with the samples since the last heartbeat.

        On disk when this returns. Raises JournalError when the run is closed or the minutes run backwards, BadInput
        for minutes that are not a number of at least 0.
        """
        if not math.isfinite(minutes) or minutes < 0:
            raise BadInput(f"minutes under load are a number of at least 0, got {minutes!r}.", where=f"run {run_id}")
        with self._store.transaction(copy_down=False):
            self._refuse_closed(run_id, "a heartbeat")
            row = self._store.row("SELECT max(minutes) AS last FROM heartbeats WHERE run_id = ?", (run_id,))
            if row and row["last"] is not None and minutes < row["last"]:
                raise JournalError(
                    f"a heartbeat at {minutes:g} min cannot follow one at {row['last']:g} min.", where=f"run {run_id}"
                )
            beat = self._store.insert("heartbeats", run_id=run_id, at=stamp(), minutes=float(minutes))
            if samples is not None and len(samples):
                self._add_heartbeat_samples(run_id, beat, samples)

    def close_run(self, run_id: int, closing: Closing, *, at: datetime | None = None) -> None:
        """Write down how a run ended: once, on a full disk as well. Raises JournalError when it is closed already."""
        self._store.pressed(lambda: self._close_run(run_id, closing, at))
        self._forget_packing(run_id)

    def _close_run(self, run_id: int, closing: Closing, at: datetime | None) -> None:
        with self._store.transaction():
            self._refuse_closed(run_id, "a second closing")
            self._insert_closing(run_id, closing, stamp(at))

    def log_run(self, plan: RunPlan, closing: Closing, *, at: datetime | None = None) -> int:
        """Write down a run done elsewhere, opened and closed in one step; its id.

        ``at``: when it began, now by default. Raises BadInput as `open_run`, but takes a setting past a limit, as it
        is told and not proposed.
        """
        with self._store.transaction():
            self._usable(plan.unit_name).depths(plan.setting)
            run_id = self._insert_run(plan, stamp(at))
            ended = at + timedelta(minutes=closing.minutes) if at else None
            self._insert_closing(run_id, closing, stamp(ended))
            return run_id

    def amend_run(
        self, run_id: int, changes: Mapping[str, Any], *, who: str, why: str, at: datetime | None = None
    ) -> Run:
        """Say what a closed run should have said; the run as it stands then. Its own record stays as it was.

        ``changes``: see `surefoot.journal.corrections.FIELDS`; only what differs is written. Raises BadInput for an
        unknown or open run, a field or value that cannot be, no reason, or nothing that would change.
        """
        with self._store.transaction():
            before = self.run(run_id)
            after = corrected(
                before, [Correction(at=before.opened_at, who="x", kind="amend", why="x", changes=dict(changes))]
            )
            changed = {name: value for name, value in changes.items() if _field(before, name) != _field(after, name)}
            if not changed:
                raise BadInput("nothing would change.", where=f"run {run_id}")
            # It must be a run that this unit can have had: a knob of its card, on the right side of stock.
            self.unit(before.plan.unit_name).depths(after.setting)
            self._write_correction(before, "amend", changed, who, why, at)
            return self.run(run_id)

    def void_run(self, run_id: int, *, who: str, why: str, at: datetime | None = None) -> Run:
        """Take a closed run out of the evidence; its own record stays as it was. Raises BadInput as `amend_run`."""
        with self._store.transaction():
            before = self.run(run_id)
            if before.outcome is Outcome.VOID:
                raise BadInput("it is void already.", where=f"run {run_id}")
            self._write_correction(before, "void", {"outcome": Outcome.VOID.value}, who, why, at)
            return self.run(run_id)

    def run(self, run_id: int) -> Run:
        """One run, as it stands corrected. Raises BadInput for an unknown id."""
        first = self.run_as_written(run_id)
        return corrected(first, self._corrections("run_id = ?", (run_id,)).get(run_id, ()))

    def run_as_written(self, run_id: int) -> Run:
        """One run as it was first written, whatever was corrected since. Raises BadInput for an unknown id."""
        self._known_run(run_id)
        return self._run(self._store.rows(_RUNS + " WHERE runs.id = ?", (run_id,))[0])

    def runs(self, unit_name: str) -> list[Run]:
        """All runs of a unit as they stand corrected, oldest first; one logged by hand stands where its own time is."""
        self._known_unit(unit_name)
        rows = self._store.rows(_RUNS + " WHERE runs.unit = ? ORDER BY runs.id", (unit_name,))
        later = self._corrections("run_id IN (SELECT id FROM runs WHERE unit = ?)", (unit_name,))
        return _in_order([corrected(self._run(row), later.get(row["id"], ())) for row in rows])

    def open_runs(self, unit_name: str | None = None) -> list[Run]:
        """The runs that nothing has closed, of one unit or of all, oldest first."""
        # Two queries, so that a unit's own are found by its index however many others there are.
        of_unit, named = (" AND runs.unit = ?", (unit_name,)) if unit_name is not None else ("", ())
        rows = self._store.rows(_RUNS + f" WHERE closings.run_id IS NULL{of_unit} ORDER BY runs.id", named)
        return [self._run(row) for row in rows]

    def _usable(self, name: str) -> Unit:
        if self.is_retired(name):
            raise BadInput(f"unit {name!r} is retired.", remedy="`surefoot unit retire NAME --undo` takes it back.")
        return self.unit(name)

    def _refuse_closed(self, run_id: int, what: str) -> None:
        self._known_run(run_id)
        row = self._store.row("SELECT outcome, at FROM closings WHERE run_id = ?", (run_id,))
        if row is not None:
            raise JournalError(
                f"{what} was refused: the run was closed as {row['outcome']} at {row['at'][:16]}Z.",
                where=f"run {run_id}",
                remedy="A run is closed once; open a new one.",
            )

    def _insert_run(self, plan: RunPlan, at: str) -> int:
        card = self._store.row(
            "SELECT id FROM cards WHERE unit = ? AND card IS NOT NULL ORDER BY id DESC LIMIT 1", (plan.unit_name,)
        )
        assert card is not None
        run_id = self._store.insert(
            "runs",
            unit=plan.unit_name,
            card_id=card["id"],
            opened_at=at,
            setting=_setting_text(plan.setting),
            load=plan.load,
            planned_minutes=plan.planned_minutes,
            purpose=plan.purpose,
            knob=plan.knob,
            **plan.conditions.model_dump(),
            boot_id=plan.boot_id,
            source=plan.source,
            note=plan.note,
        )
        if plan.place is not None:
            row = self._store.row("SELECT unit FROM trials WHERE id = ?", (plan.place.trial,))
            if row is None or row["unit"] != plan.unit_name:
                raise BadInput(f"there is no trial {plan.place.trial} of {plan.unit_name!r}.")
            place = plan.place
            self._store.insert(
                "trial_runs", run_id=run_id, trial_id=place.trial, block=place.block, position=place.position
            )
        return run_id

    def _insert_closing(self, run_id: int, closing: Closing, at: str) -> None:
        self._store.insert(
            "closings",
            run_id=run_id,
            at=at,
            outcome=closing.outcome.value,
            minutes=closing.minutes,
            timed=int(closing.timed),
            judged_by=closing.judged_by,
            setting=None if closing.setting is None else _setting_text(closing.setting),
            detail=as_text(closing.detail),
            note=closing.note,
        )

    def _run(self, row: sqlite3.Row) -> Run:
        try:
            return _run_of(row)
        except (ValidationError, ValueError) as error:
            raise unreadable(self._store.path, f"run {row['id']}", error) from error


def _run_of(row: sqlite3.Row) -> Run:
    plan = RunPlan(
        unit_name=row["unit"],
        setting=_setting_of(row["setting"]),
        load=row["load"],
        planned_minutes=row["planned_minutes"],
        purpose=row["purpose"],
        knob=row["knob"],
        conditions=Conditions(**{name: row[name] for name in Conditions.model_fields}),
        boot_id=row["boot_id"],
        source=row["source"],
        note=row["note"],
        place=(
            None
            if row["trial_id"] is None
            else Place(trial=row["trial_id"], block=row["block"], position=row["position"])
        ),
    )
    closing = None
    if row["closed"]:
        closing = Closing(
            outcome=row["outcome"],
            minutes=row["minutes"],
            judged_by=row["judged_by"],
            timed=bool(row["timed"]),
            setting=None if row["closing_setting"] is None else _setting_of(row["closing_setting"]),
            detail=json.loads(row["detail"]),
            note=row["closing_note"],
        )
    return Run(
        id=row["id"],
        opened_at=moment(row["opened_at"]),
        plan=plan,
        applied=None if row["applied"] is None else _setting_of(row["applied"]),
        heartbeats=row["heartbeats"],
        last_minutes=row["last_minutes"] or 0.0,
        closed_at=moment(row["closed_at"]) if closing else None,
        closing=closing,
    )


def _field(run: Run, name: str) -> Any:
    """A field of a run that can be corrected, as it stands."""
    assert run.closing is not None
    closing = run.closing
    where: dict[str, Any] = {"setting": run.setting, "outcome": closing.outcome, "minutes": closing.minutes}
    where |= {"timed": closing.timed, "load": run.plan.load, "opened_at": run.opened_at, "note": run.plan.note}
    return where[name] if name in where else getattr(run.plan.conditions, name)


def _setting_text(setting: Setting) -> str:
    return as_text(setting.values)


def _setting_of(text: str) -> Setting:
    values: dict[str, Any] = json.loads(text)
    return Setting(values=values)


def _within_limits(unit: Unit, setting: Setting) -> None:
    for name, depth in unit.depths(setting).items():
        knob = unit.knob(name)
        if depth > knob.limit * (1 + 1e-9):
            raise BadInput(
                f"{knob.describe(depth)} is past the limit of {knob.describe(knob.limit)}.",
                where=f"knob {name!r} of unit {unit.name!r}",
                remedy="The card holds the limit; Surefoot never goes past it.",
            )


def _in_order(runs: list[Run]) -> list[Run]:
    """Oldest first. Runs held by the tool keep the order they were written in, whatever a wrong clock said."""
    latest: datetime | None = None
    keyed = []
    for run in runs:
        when = run.opened_at
        if run.plan.source != "hand":
            when = latest = max(when, latest) if latest else when
        keyed.append((when, run.id, run))
    return [run for _, _, run in sorted(keyed, key=lambda item: item[:2])]
