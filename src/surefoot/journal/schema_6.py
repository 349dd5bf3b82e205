"""Schema 6 of the journal: thinned traces. Samples may be taken away where a record of it stands first, and only then.

Never edited once released: a change is a new migration in a file of its own.
"""

from __future__ import annotations

from surefoot.journal.schema_1 import append_only

RECORD_TABLES: dict[str, str] = {"thinnings": "id"}
"""Every record table that this schema adds, with its primary key."""

TABLES = (
    # ``through_block``: the last of the blocks that were replaced; 0 in a journal that never had them.
    """
    CREATE TABLE thinnings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        run_id INTEGER NOT NULL REFERENCES runs (id),
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        every_seconds REAL NOT NULL CHECK (every_seconds > 0),
        samples_before INTEGER NOT NULL,
        samples_after INTEGER NOT NULL CHECK (samples_after BETWEEN 1 AND samples_before),
        through_block INTEGER NOT NULL
    )
    """,
)

INDEXES = ("CREATE INDEX thinnings_by_run ON thinnings (run_id, id)",)

UNTOLD = (
    "the journal is append-only: samples of a trace are taken away only by `surefoot journal thin`, which writes down "
    "that it was done"
)

GUARD = (
    "DROP TRIGGER trace_blocks_no_delete",
    f"""
    CREATE TRIGGER trace_blocks_no_delete BEFORE DELETE ON trace_blocks
    WHEN NOT EXISTS (SELECT 1 FROM thinnings WHERE run_id = OLD.run_id AND through_block >= OLD.id)
    BEGIN SELECT RAISE(ABORT, '{UNTOLD}'); END
    """,
)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 6 of schema 5, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return TABLES + INDEXES + guards + GUARD
