"""Schema 5 of the journal: the values that were found at documented interfaces before the first change of a boot.

Never edited once released: a change is a new migration in a file of its own.
"""

from __future__ import annotations

from surefoot.journal.schema_1 import append_only

RECORD_TABLES: dict[str, str] = {"found_values": "id"}
"""Every record table that this schema adds, with its primary key."""

TABLES = (
    # ``found``: absolute values by the name of the interface, each in that interface's own unit of measure.
    """
    CREATE TABLE found_values (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        unit TEXT NOT NULL REFERENCES units (name),
        at TEXT NOT NULL,
        boot_id TEXT NOT NULL,
        found TEXT NOT NULL
    )
    """,
)

INDEXES = ("CREATE INDEX found_values_by_unit ON found_values (unit, id)",)


def statements() -> tuple[str, ...]:
    """Everything that makes schema 5 of schema 4, in order."""
    guards = tuple(text for table, key in RECORD_TABLES.items() for text in append_only(table, key))
    return TABLES + INDEXES + guards
