"""Trials: their plans, and their ends. The place of a run in one is written with the run."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from surefoot.errors import BadInput
from surefoot.journal.base import Records, as_text
from surefoot.journal.moments import moment, stamp
from surefoot.journal.records import TrialEntry


class TrialRecords(Records):
    """The Journal's part that knows trials."""

    def add_trial(self, unit_name: str, plan: Mapping[str, Any], *, at: datetime | None = None) -> int:
        """Write down the plan of a trial, before its first run; its number."""
        with self._store.transaction():
            return self._store.insert(
                "trials", unit=self._known_unit(unit_name), at=stamp(at), plan=as_text(dict(plan))
            )

    def end_trial(self, unit_name: str, number: int, why: str, *, at: datetime | None = None) -> None:
        """Write down that no run of a trial is to come, once. Raises BadInput for one that does not go on."""
        with self._store.transaction():
            found = {entry.number: entry for entry in self.trials(unit_name)}
            if number not in found or found[number].ended is not None:
                raise BadInput(f"there is no trial {number} of {unit_name!r} that goes on.")
            self._store.insert("trial_ends", unit=unit_name, trial_id=number, at=stamp(at), why=why)

    def trials(self, unit_name: str) -> list[TrialEntry]:
        """All trials of a unit, oldest first."""
        self._known_unit(unit_name)
        rows = self._store.rows(
            "SELECT trials.*, trial_ends.why AS why FROM trials LEFT JOIN trial_ends ON trial_ends.trial_id = trials.id"
            " WHERE trials.unit = ? ORDER BY trials.id",
            (unit_name,),
        )
        return [
            TrialEntry(row["id"], unit_name, moment(row["at"]), json.loads(row["plan"]), row["why"]) for row in rows
        ]
