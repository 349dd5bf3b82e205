"""Scores, instrument readings, names of configurations, remembered columns, forecasts."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from surefoot.journal.base import Records, as_text
from surefoot.journal.moments import moment, stamp
from surefoot.journal.records import ForecastEntry, ReadingEntry, ScoreEntry
from surefoot.runs import Reading, Score


class MeasureRecords(Records):
    """The Journal's part that knows what was measured and named beside the runs."""

    def add_score(
        self,
        unit_name: str,
        score: Score,
        *,
        run_id: int | None = None,
        configuration: str | None = None,
        at: datetime | None = None,
    ) -> int:
        """Write down a score, of a run or of a configuration; its id. Raises BadInput for an unknown unit or run."""
        with self._store.transaction():
            return self._store.insert(
                "scores",
                **self._belongs(unit_name, run_id, at),
                configuration=configuration,
                name=score.name,
                value=score.value,
                measure=score.unit,
                higher_is_better=int(score.higher_is_better),
                note=score.note,
            )

    def add_scores(
        self,
        unit_name: str,
        scores: Iterable[Score],
        *,
        run_id: int | None = None,
        configuration: str | None = None,
        at: datetime | None = None,
    ) -> list[int]:
        """Write down scores that belong together, all or none; their ids. Raises as `add_score`."""
        with self._store.transaction():
            return [self.add_score(unit_name, one, run_id=run_id, configuration=configuration, at=at) for one in scores]

    def scores(self, unit_name: str) -> list[ScoreEntry]:
        """All scores of a unit, in the order they were written."""
        self._known_unit(unit_name)
        return [
            ScoreEntry(
                id=row["id"],
                unit_name=unit_name,
                run_id=row["run_id"],
                configuration=row["configuration"],
                score=Score(
                    name=row["name"],
                    value=row["value"],
                    unit=row["measure"],
                    higher_is_better=bool(row["higher_is_better"]),
                    note=row["note"],
                ),
                at=moment(row["at"]),
            )
            for row in self._store.rows("SELECT * FROM scores WHERE unit = ? ORDER BY id", (unit_name,))
        ]

    def add_reading(
        self,
        unit_name: str,
        reading: Reading,
        *,
        run_id: int | None = None,
        configuration: str | None = None,
        at: datetime | None = None,
    ) -> int:
        """Write down an instrument reading; its id. Raises BadInput for an unknown unit or run."""
        with self._store.transaction():
            return self._store.insert(
                "readings",
                **self._belongs(unit_name, run_id, at),
                configuration=configuration,
                kind=reading.kind,
                value=reading.value,
                place=reading.place,
                background=reading.background,
                state=reading.state,
                read_at=None if reading.at is None else stamp(reading.at),
                note=reading.note,
            )

    def readings(self, unit_name: str) -> list[ReadingEntry]:
        """All readings of a unit, in the order they were written."""
        self._known_unit(unit_name)
        return [
            ReadingEntry(
                id=row["id"],
                unit_name=unit_name,
                run_id=row["run_id"],
                configuration=row["configuration"],
                reading=Reading(
                    kind=row["kind"],
                    value=row["value"],
                    place=row["place"],
                    background=row["background"],
                    state=row["state"],
                    at=None if row["read_at"] is None else moment(row["read_at"]),
                    note=row["note"],
                ),
                at=moment(row["at"]),
            )
            for row in self._store.rows("SELECT * FROM readings WHERE unit = ? ORDER BY id", (unit_name,))
        ]

    def name_configuration(self, unit_name: str, key: str, name: str, rank: int) -> None:
        """Give a configuration a name and a rank in the order of presentation; the last one given counts."""
        with self._store.transaction():
            self._store.insert(
                "configuration_names", unit=self._known_unit(unit_name), at=stamp(), key=key, name=name, rank=rank
            )

    def configuration_names(self, unit_name: str) -> dict[str, tuple[str, int]]:
        """Name and rank of each named configuration of a unit, by its key."""
        self._known_unit(unit_name)
        rows = self._store.rows(
            "SELECT key, name, rank FROM configuration_names WHERE unit = ? ORDER BY id", (unit_name,)
        )
        return {row["key"]: (row["name"], row["rank"]) for row in rows}

    def remember_columns(self, fingerprint: str, mapping: Mapping[str, str]) -> None:
        """Remember which column of a log is which channel, for every log of that header; the last one counts."""
        with self._store.transaction():
            self._store.insert("column_mappings", at=stamp(), fingerprint=fingerprint, mapping=as_text(dict(mapping)))

    def remembered_columns(self, fingerprint: str) -> dict[str, str] | None:
        """What `remember_columns` was told for a header, or None."""
        row = self._store.row(
            "SELECT mapping FROM column_mappings WHERE fingerprint = ? ORDER BY id DESC LIMIT 1", (fingerprint,)
        )
        if row is None:
            return None
        mapping: dict[str, str] = json.loads(row["mapping"])
        return mapping

    def add_forecast(
        self, unit_name: str, forecast: Mapping[str, Any], *, run_id: int | None = None, at: datetime | None = None
    ) -> int:
        """Write down a forecast, as JSON, to be judged when the change was made; its id."""
        with self._store.transaction():
            return self._store.insert(
                "forecasts", **self._belongs(unit_name, run_id, at), forecast=as_text(dict(forecast))
            )

    def forecasts(self, unit_name: str) -> list[ForecastEntry]:
        """All forecasts of a unit, in the order they were written."""
        self._known_unit(unit_name)
        rows = self._store.rows("SELECT * FROM forecasts WHERE unit = ? ORDER BY id", (unit_name,))
        return [
            ForecastEntry(row["id"], unit_name, row["run_id"], moment(row["at"]), json.loads(row["forecast"]))
            for row in rows
        ]

    def _belongs(self, unit_name: str, run_id: int | None, at: datetime | None) -> dict[str, Any]:
        self._known_unit(unit_name)
        if run_id is not None:
            self._known_run(run_id, unit_name)
        return {"unit": unit_name, "run_id": run_id, "at": stamp(at)}
