"""What may stand applied on a unit, which machine the unit is, and what was allowed against the rules."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

from surefoot.journal.base import Records, as_text
from surefoot.journal.moments import moment, stamp
from surefoot.journal.records import ExceptionEntry, FoundEntry, Standing
from surefoot.units import Setting


class StandingRecords(Records):
    """The Journal's part that knows what hands have done beside runs."""

    def stand(
        self, unit_name: str, setting: Setting, *, why: str, boot_id: str | None = None, at: datetime | None = None
    ) -> None:
        """Write down that a setting may be applied from now on. On disk when this returns.

        Called before hands are, and with stock once stock is known to be there; that is written also on a full disk.
        """

        def write() -> None:
            with self._store.transaction():
                self._store.insert(
                    "standings",
                    unit=self._known_unit(unit_name),
                    at=stamp(at),
                    setting=as_text(setting.values),
                    boot_id=boot_id,
                    why=why,
                )

        # What may be applied is not begun on a full disk; that stock is back must be told all the same.
        if setting.is_stock:
            self._store.pressed(write)
        else:
            write()

    def standing(self, unit_name: str) -> Standing | None:
        """What was last said to be applied on a unit; None when nothing ever was."""
        self._known_unit(unit_name)
        row = self._store.row("SELECT * FROM standings WHERE unit = ? ORDER BY id DESC LIMIT 1", (unit_name,))
        if row is None:
            return None
        return Standing(Setting(values=json.loads(row["setting"])), row["why"], row["boot_id"], moment(row["at"]))

    def know_machine(self, unit_name: str, identity: str, *, at: datetime | None = None) -> None:
        """Write down that a machine is the unit."""
        with self._store.transaction():
            self._store.insert("machines", unit=self._known_unit(unit_name), at=stamp(at), identity=identity)

    def known_machines(self, unit_name: str) -> tuple[str, ...]:
        """Identities of the machines that were said to be the unit, oldest first."""
        self._known_unit(unit_name)
        rows = self._store.rows("SELECT identity FROM machines WHERE unit = ? ORDER BY id", (unit_name,))
        return tuple(dict.fromkeys(row["identity"] for row in rows))

    def note_found(
        self, unit_name: str, values: Mapping[str, float], *, boot_id: str, at: datetime | None = None
    ) -> None:
        """Write down what documented interfaces stood at. On disk when this returns; called before the first change."""
        with self._store.transaction():
            self._store.insert(
                "found_values",
                unit=self._known_unit(unit_name),
                at=stamp(at),
                boot_id=boot_id,
                found=as_text(dict(values)),
            )

    def found_values(self, unit_name: str) -> list[FoundEntry]:
        """Everything that was found so, oldest first."""
        self._known_unit(unit_name)
        return [
            FoundEntry(json.loads(row["found"]), row["boot_id"], moment(row["at"]))
            for row in self._store.rows("SELECT * FROM found_values WHERE unit = ? ORDER BY id", (unit_name,))
        ]

    def note_exception(self, unit_name: str, setting: Setting, rule: str, *, at: datetime | None = None) -> None:
        """Write down that the user, asked, had a setting applied against a rule."""
        with self._store.transaction():
            self._store.insert(
                "exceptions",
                unit=self._known_unit(unit_name),
                at=stamp(at),
                setting=as_text(setting.values),
                rule=rule,
            )

    def exceptions(self, unit_name: str) -> list[ExceptionEntry]:
        """What was applied against a rule, oldest first."""
        self._known_unit(unit_name)
        return [
            ExceptionEntry(Setting(values=json.loads(row["setting"])), row["rule"], moment(row["at"]))
            for row in self._store.rows("SELECT * FROM exceptions WHERE unit = ? ORDER BY id", (unit_name,))
        ]
