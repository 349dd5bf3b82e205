"""Schema 1 of the journal, as SQL. Never edited once released: a change is a new migration in a file of its own.

Every table holds records and nothing else: what is known (the current card, the state of a run, the known-stable
setting) is computed from them, in the views below or in Python. JSON texts stand where the set of names is the user's.
Times are ISO 8601 in UTC; minutes are minutes under load.
"""

from __future__ import annotations

APPEND_ONLY = "the journal is append-only: records are never changed or removed, so that any answer can be explained"

RECORD_TABLES: dict[str, str] = {
    "units": "name",
    "cards": "id",
    "consents": "id",
    "runs": "id",
    "applications": "id",
    "heartbeats": "id",
    "closings": "run_id",
    "trace_layouts": "id",
    "trace_blocks": "id",
    "scores": "id",
    "readings": "id",
    "configuration_names": "id",
    "column_mappings": "id",
    "forecasts": "id",
}
"""Every record table with its primary key."""

TABLES = (
    """
    CREATE TABLE units (
        name TEXT PRIMARY KEY NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
        added_at TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE cards (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        event TEXT NOT NULL CHECK (event IN ('add', 'revise', 'retire', 'restore')),
        card TEXT CHECK ((card IS NULL) = (event IN ('retire', 'restore')))
    )
    """,
    """
    CREATE TABLE consents (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        text TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE runs (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        card_id INTEGER NOT NULL REFERENCES cards (id),
        opened_at TEXT NOT NULL,
        setting TEXT NOT NULL,
        load TEXT NOT NULL,
        planned_minutes REAL NOT NULL CHECK (planned_minutes >= 0),
        purpose TEXT NOT NULL,
        knob TEXT,
        ambient_celsius REAL,
        power_mode TEXT,
        cooling TEXT,
        supply TEXT,
        firmware TEXT,
        driver TEXT,
        operating_system TEXT,
        boot_id TEXT,
        source TEXT NOT NULL,
        note TEXT NOT NULL DEFAULT ''
    )
    """,
    """
    CREATE TABLE applications (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        setting TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE heartbeats (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        minutes REAL NOT NULL CHECK (minutes >= 0)
    )
    """,
    """
    CREATE TABLE closings (
        run_id INTEGER PRIMARY KEY NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        outcome TEXT NOT NULL,
        minutes REAL NOT NULL CHECK (minutes >= 0),
        timed INTEGER NOT NULL CHECK (timed IN (0, 1)),
        judged_by TEXT NOT NULL,
        setting TEXT,
        detail TEXT NOT NULL DEFAULT '{}',
        note TEXT NOT NULL DEFAULT ''
    )
    """,
    # A layout is shared by many blocks, so that a day of heartbeats does not repeat its channel names 8,640 times.
    """
    CREATE TABLE trace_layouts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        columns TEXT NOT NULL UNIQUE
    )
    """,
    # heartbeat_id is NULL for an imported trace, whose blocks share import_id (the id of its first block).
    """
    CREATE TABLE trace_blocks (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        heartbeat_id INTEGER REFERENCES heartbeats (id),
        import_id INTEGER,
        started_at TEXT,
        layout_id INTEGER NOT NULL REFERENCES trace_layouts (id),
        samples INTEGER NOT NULL CHECK (samples > 0),
        data BLOB NOT NULL
    )
    """,
    """
    CREATE TABLE scores (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        configuration TEXT,
        at TEXT NOT NULL,
        name TEXT NOT NULL,
        value REAL NOT NULL,
        measure TEXT NOT NULL,
        higher_is_better INTEGER NOT NULL CHECK (higher_is_better IN (0, 1)),
        note TEXT NOT NULL DEFAULT ''
    )
    """,
    """
    CREATE TABLE readings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        configuration TEXT,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        value REAL NOT NULL,
        place TEXT NOT NULL DEFAULT '',
        background REAL,
        state TEXT NOT NULL,
        read_at TEXT,
        note TEXT NOT NULL DEFAULT ''
    )
    """,
    """
    CREATE TABLE configuration_names (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        key TEXT NOT NULL,
        name TEXT NOT NULL,
        rank INTEGER NOT NULL
    )
    """,
    """
    CREATE TABLE column_mappings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL,
        fingerprint TEXT NOT NULL,
        mapping TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE forecasts (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        run_id INTEGER REFERENCES runs (id),
        at TEXT NOT NULL,
        forecast TEXT NOT NULL
    )
    """,
)

INDEXES = (
    "CREATE INDEX cards_by_unit ON cards (unit, id)",
    "CREATE UNIQUE INDEX units_are_added_once ON cards (unit) WHERE event = 'add'",
    "CREATE INDEX consents_by_unit ON consents (unit, id)",
    "CREATE INDEX runs_by_unit ON runs (unit, id)",
    "CREATE INDEX applications_by_run ON applications (run_id, id)",
    "CREATE INDEX heartbeats_by_run ON heartbeats (run_id, minutes)",
    "CREATE INDEX trace_blocks_by_run ON trace_blocks (run_id, id)",
    # So that looking for imports does not visit each of a day's heartbeats.
    "CREATE INDEX trace_imports_by_run ON trace_blocks (run_id) WHERE heartbeat_id IS NULL",
    "CREATE INDEX scores_by_unit ON scores (unit, id)",
    "CREATE INDEX readings_by_unit ON readings (unit, id)",
    "CREATE INDEX configuration_names_by_unit ON configuration_names (unit, id)",
    "CREATE INDEX column_mappings_by_fingerprint ON column_mappings (fingerprint, id)",
    "CREATE INDEX forecasts_by_unit ON forecasts (unit, id)",
)

# The life of a run is held here as well as in Python, so that no other client of the file can break it.
RUN_LIFE = (
    *(
        f"""
        CREATE TRIGGER {table}_only_while_open BEFORE INSERT ON {table}
        WHEN EXISTS (SELECT 1 FROM closings WHERE run_id = NEW.run_id)
        BEGIN SELECT RAISE(ABORT, 'the run is closed'); END
        """
        for table in ("applications", "heartbeats")
    ),
    """
    CREATE TRIGGER heartbeats_never_backwards BEFORE INSERT ON heartbeats
    WHEN NEW.minutes < (SELECT max(minutes) FROM heartbeats WHERE run_id = NEW.run_id)
    BEGIN SELECT RAISE(ABORT, 'heartbeat minutes run backwards'); END
    """,
)


def append_only(table: str, key: str) -> tuple[str, str, str]:
    """The triggers that keep a table append-only.

    The third one is there for INSERT OR REPLACE, which removes the old row without firing its delete trigger.
    """
    return (
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN SELECT RAISE(ABORT, '{APPEND_ONLY}'); END",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN SELECT RAISE(ABORT, '{APPEND_ONLY}'); END",
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}"
        f" WHEN EXISTS (SELECT 1 FROM {table} WHERE {key} = NEW.{key})"
        f" BEGIN SELECT RAISE(ABORT, '{APPEND_ONLY}'); END",
    )


VIEWS = (
    # The setting that was there: as read back at the end, else before the load, else as asked.
    """
    CREATE VIEW run_settings AS
    SELECT runs.id AS run_id, runs.card_id, coalesce(
        (SELECT setting FROM closings WHERE closings.run_id = runs.id),
        (SELECT setting FROM applications WHERE applications.run_id = runs.id ORDER BY id DESC LIMIT 1),
        runs.setting) AS setting
    FROM runs
    """,
    # One row a knob and run: for joins and charts in any client.
    """
    CREATE VIEW run_knobs AS
    SELECT run_settings.run_id AS run_id, value.key AS knob, value.value AS offset,
        (SELECT json_extract(knob.value, '$.unit')
         FROM cards, json_each(cards.card, '$.knobs') AS knob
         WHERE cards.id = run_settings.card_id AND json_extract(knob.value, '$.name') = value.key) AS measure
    FROM run_settings, json_each(run_settings.setting) AS value
    """,
    """
    CREATE VIEW runs_view AS
    SELECT
        runs.id AS run,
        runs.unit AS unit,
        runs.opened_at AS opened_at,
        closings.at AS closed_at,
        coalesce((SELECT group_concat(words, ', ') FROM (
            SELECT rtrim(knob || ' ' || printf('%+g', offset) || ' ' || coalesce(measure, '')) AS words
            FROM run_knobs WHERE run_knobs.run_id = runs.id ORDER BY knob)), 'stock') AS setting,
        runs.load AS load,
        runs.purpose AS purpose,
        runs.knob AS knob,
        runs.planned_minutes AS planned_minutes,
        coalesce(closings.minutes, (SELECT max(minutes) FROM heartbeats WHERE heartbeats.run_id = runs.id), 0)
            AS minutes,
        coalesce(closings.outcome, 'open') AS outcome,
        closings.judged_by AS judged_by,
        closings.timed AS timed,
        (SELECT count(*) FROM heartbeats WHERE heartbeats.run_id = runs.id) AS heartbeats,
        (SELECT coalesce(sum(samples), 0) FROM trace_blocks WHERE trace_blocks.run_id = runs.id) AS samples,
        runs.ambient_celsius AS ambient_celsius,
        runs.power_mode AS power_mode,
        runs.cooling AS cooling,
        runs.supply AS supply,
        runs.firmware AS firmware,
        runs.driver AS driver,
        runs.operating_system AS operating_system,
        runs.source AS source,
        runs.note AS note,
        closings.note AS closing_note,
        closings.detail AS detail
    FROM runs LEFT JOIN closings ON closings.run_id = runs.id
    """,
    """
    CREATE VIEW units_view AS
    SELECT
        units.name AS unit,
        units.added_at AS added_at,
        (SELECT max(at) FROM cards WHERE cards.unit = units.name AND card IS NOT NULL) AS card_at,
        coalesce((SELECT event = 'retire' FROM cards WHERE cards.unit = units.name AND card IS NULL
            ORDER BY id DESC LIMIT 1), 0) AS retired,
        (SELECT count(*) FROM runs WHERE runs.unit = units.name) AS runs,
        (SELECT card FROM cards WHERE cards.unit = units.name AND card IS NOT NULL ORDER BY id DESC LIMIT 1) AS card
    FROM units
    """,
    """
    CREATE VIEW open_runs_view AS SELECT * FROM runs_view WHERE outcome = 'open'
    """,
)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 1, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return TABLES + INDEXES + guards + RUN_LIFE + VIEWS
