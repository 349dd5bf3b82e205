"""Schema 2 of the journal: what may stand applied on a unit, which machine it is, and exceptions from the rules.

Never edited once released: a change is a new migration in a file of its own.
"""

from __future__ import annotations

from surefoot.journal.schema_1 import append_only

RECORD_TABLES: dict[str, str] = {"standings": "id", "machines": "id", "exceptions": "id"}
"""Every record table that this schema adds, with its primary key."""

TABLES = (
    # Written before a setting is applied, and as stock once the way back is known to have worked: the last one tells
    # what may still be applied, whatever became of the process that applied it.
    """
    CREATE TABLE standings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        setting TEXT NOT NULL,
        boot_id TEXT,
        why TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE machines (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        identity TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE exceptions (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        setting TEXT NOT NULL,
        rule TEXT NOT NULL
    )
    """,
)

INDEXES = (
    "CREATE INDEX standings_by_unit ON standings (unit, id)",
    "CREATE INDEX machines_by_unit ON machines (unit, id)",
    "CREATE INDEX exceptions_by_unit ON exceptions (unit, id)",
)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 2 of schema 1, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return TABLES + INDEXES + guards
