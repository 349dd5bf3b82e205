"""Schema 4 of the journal: trials, the place of each run in one, and their ends.

Never edited once released: a change is a new migration in a file of its own.
"""

from __future__ import annotations

from surefoot.journal.schema_1 import append_only

RECORD_TABLES: dict[str, str] = {"trials": "id", "trial_runs": "run_id", "trial_ends": "id"}
"""Every record table that this schema adds, with its primary key."""

TABLES = (
    # The plan holds the seed, from which the order of every block follows, and what each configuration is.
    """
    CREATE TABLE trials (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        plan TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE trial_runs (
        run_id INTEGER PRIMARY KEY NOT NULL REFERENCES runs (id),
        trial_id INTEGER NOT NULL REFERENCES trials (id),
        block INTEGER NOT NULL CHECK (block >= 1),
        position INTEGER NOT NULL CHECK (position >= 1)
    )
    """,
    """
    CREATE TABLE trial_ends (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        trial_id INTEGER NOT NULL REFERENCES trials (id),
        at TEXT NOT NULL,
        why TEXT NOT NULL
    )
    """,
)

INDEXES = (
    "CREATE INDEX trials_by_unit ON trials (unit, id)",
    "CREATE INDEX trial_runs_by_trial ON trial_runs (trial_id, block, position)",
    "CREATE UNIQUE INDEX trial_ends_by_trial ON trial_ends (trial_id)",
)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 4 of schema 3, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return TABLES + INDEXES + guards
