"""Schema 3 of the journal, as SQL: runs can be corrected. Never edited once released.

A correction is a record of its own beside the run, with who, when and why; what was written first stays as it was. The
views give the runs as they stand corrected, the newest word on each field counting.
"""

from __future__ import annotations

from surefoot.journal.schema_1 import append_only

RECORD_TABLES: dict[str, str] = {"corrections": "id"}
"""The record tables that this schema adds, with their primary keys."""

TABLES = (
    # changes: a JSON object of field names and their new values; never null, since null is not a value.
    """
    CREATE TABLE corrections (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('amend', 'void')),
        why TEXT NOT NULL CHECK (length(why) > 0),
        changes TEXT NOT NULL CHECK (json_type(changes) = 'object')
    )
    """,
    "CREATE INDEX corrections_by_run ON corrections (run_id, id)",
    """
    CREATE TRIGGER corrections_only_when_closed BEFORE INSERT ON corrections
    WHEN NOT EXISTS (SELECT 1 FROM closings WHERE run_id = NEW.run_id)
    BEGIN SELECT RAISE(ABORT, 'the run is still open'); END
    """,
)


def _last(field: str) -> str:
    path = f"'$.{field}'"
    return (
        f"(SELECT json_extract(changes, {path}) FROM corrections WHERE corrections.run_id = runs.id"
        f" AND json_type(changes, {path}) IS NOT NULL ORDER BY id DESC LIMIT 1)"
    )


def _now(field: str, first: str) -> str:
    return f"coalesce({_last(field)}, {first}) AS {field}"


_CONDITIONS = ("ambient_celsius", "power_mode", "cooling", "supply", "firmware", "driver", "operating_system")

DROPPED_VIEWS = ("open_runs_view", "runs_view", "run_knobs", "run_settings")

VIEWS = (
    # The setting that was there: as corrected, else as read back at the end, else before the load, else as asked.
    f"""
    CREATE VIEW run_settings AS
    SELECT runs.id AS run_id, runs.card_id, coalesce(
        {_last("setting")},
        (SELECT setting FROM closings WHERE closings.run_id = runs.id),
        (SELECT setting FROM applications WHERE applications.run_id = runs.id ORDER BY id DESC LIMIT 1),
        runs.setting) AS setting
    FROM runs
    """,
    """
    CREATE VIEW run_knobs AS
    SELECT run_settings.run_id AS run_id, value.key AS knob, value.value AS offset,
        (SELECT json_extract(knob.value, '$.unit')
         FROM cards, json_each(cards.card, '$.knobs') AS knob
         WHERE cards.id = run_settings.card_id AND json_extract(knob.value, '$.name') = value.key) AS measure
    FROM run_settings, json_each(run_settings.setting) AS value
    """,
    f"""
    CREATE VIEW runs_view AS
    SELECT
        runs.id AS run,
        runs.unit AS unit,
        {_now("opened_at", "runs.opened_at")},
        closings.at AS closed_at,
        coalesce((SELECT group_concat(words, ', ') FROM (
            SELECT rtrim(knob || ' ' || printf('%+g', offset) || ' ' || coalesce(measure, '')) AS words
            FROM run_knobs WHERE run_knobs.run_id = runs.id ORDER BY knob)), 'stock') AS setting,
        {_now("load", "runs.load")},
        runs.purpose AS purpose,
        runs.knob AS knob,
        runs.planned_minutes AS planned_minutes,
        coalesce({_last("minutes")}, closings.minutes,
            (SELECT max(minutes) FROM heartbeats WHERE heartbeats.run_id = runs.id), 0) AS minutes,
        coalesce({_last("outcome")}, closings.outcome, 'open') AS outcome,
        closings.judged_by AS judged_by,
        {_now("timed", "closings.timed")},
        (SELECT count(*) FROM heartbeats WHERE heartbeats.run_id = runs.id) AS heartbeats,
        (SELECT coalesce(sum(samples), 0) FROM trace_blocks WHERE trace_blocks.run_id = runs.id) AS samples,
        {", ".join(_now(name, f"runs.{name}") for name in _CONDITIONS)},
        runs.source AS source,
        {_now("note", "runs.note")},
        closings.note AS closing_note,
        closings.detail AS detail,
        (SELECT count(*) FROM corrections WHERE corrections.run_id = runs.id) AS corrections
    FROM runs LEFT JOIN closings ON closings.run_id = runs.id
    """,
    """
    CREATE VIEW open_runs_view AS SELECT * FROM runs_view WHERE outcome = 'open'
    """,
)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 3 of schema 2, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return (*TABLES, *guards, *(f"DROP VIEW {name}" for name in DROPPED_VIEWS), *VIEWS)
