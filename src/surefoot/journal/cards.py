"""Units, the history of their cards, and consents."""

from __future__ import annotations

import sqlite3
from datetime import datetime

from pydantic import ValidationError

from surefoot.errors import BadInput, JournalError
from surefoot.journal.base import Records
from surefoot.journal.bundle_merge import mark
from surefoot.journal.failures import unreadable
from surefoot.journal.moments import moment, stamp
from surefoot.journal.records import CardEntry, Consent, UnitLine
from surefoot.units import Unit, validated


class CardRecords(Records):
    """The Journal's part that knows units."""

    def add_unit(self, unit: Unit, *, at: datetime | None = None) -> None:
        """Enter a new unit with its card. Raises BadInput when the name is taken, also in other capitals."""
        when = stamp(at)
        with self._store.transaction():
            self.free_name(unit.name)
            self._store.insert("units", name=unit.name, added_at=when)
            self._store.insert("cards", unit=unit.name, at=when, event="add", card=unit.model_dump_json())

    def free_name(self, name: str) -> str:
        """The name as a new unit would have it. Capitals make no difference between two names.

        Raises BadInput when it cannot be a name, and when a unit has it, in use or retired.
        """
        name = validated(Unit, {"name": name}, "the unit's name").name
        for row in self._store.rows("SELECT unit, retired FROM units_view"):
            if str(row["unit"]).casefold() == name.casefold():
                change = "take it back with `surefoot unit retire NAME --undo`" if row["retired"] else "change its card"
                raise BadInput(
                    f"there is a{' retired' if row['retired'] else ''} unit {row['unit']!r} already.",
                    remedy=f"Choose another name, or {change}.",
                )
        return name

    def revise_unit(self, unit: Unit, *, at: datetime | None = None) -> None:
        """Write a unit's changed card; the former ones stay in its history. An unchanged card writes nothing."""
        with self._store.transaction():
            if self.unit(unit.name) != unit:
                self._store.insert("cards", unit=unit.name, at=stamp(at), event="revise", card=unit.model_dump_json())

    def identity(self, unit_name: str) -> str:
        """What two copies of a unit share: when it was entered, and its first card."""
        return "\n".join(mark(self._store, unit_name))

    def retire_unit(self, name: str) -> None:
        """Take a unit out of use; its runs stay. Raises BadInput when it is retired, JournalError with a run open."""
        self._turn(name, "retire")

    def restore_unit(self, name: str) -> None:
        """Take a retired unit back into use. Raises BadInput when it is in use."""
        self._turn(name, "restore")

    def _turn(self, name: str, event: str) -> None:
        with self._store.transaction():
            retired = self.is_retired(name)
            if retired == (event == "retire"):
                raise BadInput(f"unit {name!r} is {'retired already' if retired else 'not retired'}.")
            running = self._open_run(name)
            if running is not None:
                raise JournalError(f"unit {name!r} has run {running} open.", remedy="Close it first.")
            self._store.insert("cards", unit=name, at=stamp(), event=event, card=None)

    def is_retired(self, name: str) -> bool:
        """Whether a unit is out of use. Raises BadInput for an unknown name."""
        self._known_unit(name)
        row = self._store.row("SELECT retired FROM units_view WHERE unit = ?", (name,))
        return bool(row and row["retired"])

    def unit(self, name: str) -> Unit:
        """The current card of a unit, retired or not. Raises BadInput for an unknown name."""
        self._known_unit(name)
        row = self._store.row(
            "SELECT id, card FROM cards WHERE unit = ? AND card IS NOT NULL ORDER BY id DESC LIMIT 1", (name,)
        )
        assert row is not None
        return self._card(row)

    def units(self, retired: bool = False) -> list[Unit]:
        """The current cards in the order of their names; with ``retired`` also those out of use."""
        rows = self._store.rows(
            "SELECT cards.id AS id, card FROM cards WHERE cards.id IN (SELECT max(id) FROM cards WHERE card IS NOT NULL"
            " GROUP BY unit) AND (? OR unit NOT IN (SELECT unit FROM units_view WHERE retired))"
            " ORDER BY lower(unit), unit",
            (retired,),
        )
        return [self._card(row) for row in rows]

    def unit_lines(self, retired: bool = False) -> list[UnitLine]:
        """One line a unit, in the order of `units`."""
        rows = {
            row["unit"]: row
            for row in self._store.rows(
                "SELECT unit, runs, retired, card_at,"
                " (SELECT max(opened_at) FROM runs_view WHERE runs_view.unit = units_view.unit) AS last,"
                " (SELECT max(run) FROM open_runs_view WHERE open_runs_view.unit = units_view.unit) AS open"
                " FROM units_view"
            )
        }
        return [
            UnitLine(
                name=unit.name,
                knobs=tuple(knob.name for knob in unit.knobs),
                runs=row["runs"],
                last_run_at=moment(row["last"]) if row["last"] else None,
                open_run=row["open"],
                card_at=moment(row["card_at"]),
                retired=bool(row["retired"]),
            )
            for unit, row in ((unit, rows[unit.name]) for unit in self.units(retired))
        ]

    def card_history(self, name: str) -> list[CardEntry]:
        """Everything that happened to a unit's card, oldest first. Raises BadInput for an unknown name."""
        self._known_unit(name)
        rows = self._store.rows("SELECT id, at, event, card FROM cards WHERE unit = ? ORDER BY id", (name,))
        return [
            CardEntry(row["id"], moment(row["at"]), row["event"], None if row["card"] is None else self._card(row))
            for row in rows
        ]

    def card_at(self, name: str, at: datetime) -> Unit | None:
        """The card as it was at a moment, None before the unit had one. Raises BadInput for an unknown name."""
        then = [entry.unit for entry in self.card_history(name) if entry.unit is not None and entry.at <= at]
        return then[-1] if then else None

    def card_of_run(self, run_id: int) -> Unit:
        """The card as it was when a run was opened. Raises BadInput for an unknown run."""
        self._known_run(run_id)
        row = self._store.row(
            "SELECT cards.id AS id, card FROM cards JOIN runs ON runs.card_id = cards.id WHERE runs.id = ?", (run_id,)
        )
        assert row is not None
        return self._card(row)

    def knobs_used(self, name: str) -> dict[str, int]:
        """How many runs of a unit moved each knob away from stock or searched it, by knob name."""
        self._known_unit(name)
        rows = self._store.rows(
            "SELECT knob, count(DISTINCT run) AS runs FROM ("
            " SELECT run_knobs.knob AS knob, runs.id AS run FROM run_knobs JOIN runs ON runs.id = run_knobs.run_id"
            "  WHERE unit = ?"
            " UNION ALL SELECT key, runs.id FROM runs, json_each(runs.setting) WHERE unit = ?"
            " UNION ALL SELECT knob, id FROM runs WHERE unit = ? AND knob IS NOT NULL) GROUP BY knob",
            (name, name, name),
        )
        return {row["knob"]: row["runs"] for row in rows}

    def refuse_losing_knobs(self, unit: Unit) -> None:
        """Raise BadInput when a changed card no longer has a knob, or turns it round, that runs of the unit used.

        Such runs would stop being evidence; the caller decides whether the user may insist.
        """
        old = {knob.name: knob for knob in self.unit(unit.name).knobs}
        new = {knob.name: knob for knob in unit.knobs}
        lost = []
        for name, runs in sorted(self.knobs_used(unit.name).items()):
            before, after = old.get(name), new.get(name)
            if before is None:
                continue
            if after is None:
                lost.append(f"{name} is gone but {runs} run(s) used it")
            elif (before.unit, before.toward) != (after.unit, after.toward):
                lost.append(f"{name} changed its unit or side but {runs} run(s) used it")
        if lost:
            raise BadInput(
                f"the new card would lose evidence: {'; '.join(lost)}.",
                where=f"unit {unit.name!r}",
                remedy="Keep the knob, or insist with --force: the runs stay, but no longer count for it.",
            )

    def _card(self, row: sqlite3.Row) -> Unit:
        try:
            return Unit.model_validate_json(row["card"])
        except ValidationError as error:
            raise unreadable(self._store.path, f"card {row['id']}", error.errors()[0]["msg"]) from error

    def consent(self, unit_name: str) -> Consent | None:
        """The last consent given for a unit, or None."""
        self._known_unit(unit_name)
        row = self._store.row("SELECT text, at FROM consents WHERE unit = ? ORDER BY id DESC LIMIT 1", (unit_name,))
        return None if row is None else Consent(unit_name, row["text"], moment(row["at"]))

    def give_consent(self, unit_name: str, text: str, *, at: datetime | None = None) -> None:
        """Write down that the user agreed to the cautions in ``text`` for a unit."""
        with self._store.transaction():
            self._store.insert("consents", unit=self._known_unit(unit_name), at=stamp(at), text=text)
