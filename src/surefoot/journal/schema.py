"""The journal's schema: its versions, and how an older file is brought forward.

Migrations are those of sqlite-utils: named, applied in order, each in one transaction with the record that it was
applied (table `_sqlite_migrations`). `PRAGMA user_version` carries the number of the newest one, so that an everyday
opening needs to read a single number and not to import sqlite-utils at all.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

from surefoot.journal import schema_1, schema_2, schema_3, schema_4, schema_5, schema_6

if TYPE_CHECKING:
    import sqlite3

    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

APPLICATION_ID = 0x53724674
"""`PRAGMA application_id` of a journal: the letters SrFt."""

SCHEMAS = (schema_1, schema_2, schema_3, schema_4, schema_5, schema_6)
"""The files that make each schema of the one before, oldest first. A new one is a file and a place in this row."""

VERSION = len(SCHEMAS)
"""The schema that this version of Surefoot writes: the number of migrations."""

RECORD_TABLES = {table: key for made in SCHEMAS for table, key in made.RECORD_TABLES.items()}
"""Every record table with its primary key."""


def sqlite_utils() -> Any:
    """The sqlite-utils library, without the pandas that it would import for a type mapping we do not use.

    pandas is optional to it. Held back, because `recall` may have to create a journal and must not wait for pandas.
    """
    if "sqlite_utils" not in sys.modules and "pandas" not in sys.modules:
        sys.modules["pandas"] = None  # type: ignore[assignment]
        try:
            import sqlite_utils
        finally:
            del sys.modules["pandas"]
    import sqlite_utils

    return sqlite_utils


def wrapped(connection: sqlite3.Connection) -> Database:
    """A connection as a sqlite-utils database, without the plugins of whoever installed some."""
    made: Database = sqlite_utils().Database(connection, execute_plugins=False)
    return made


def migrations() -> Migrations:
    """The migrations of the journal, in order; the number of each is its place in the list."""
    sqlite_utils()
    from sqlite_utils.migrations import Migrations

    steps = Migrations("surefoot-journal")

    for number, made in enumerate(SCHEMAS, 1):
        steps(name=f"schema {number}")(partial(_migrate, number, made.statements()))
    return steps


def _migrate(number: int, statements: Sequence[str], db: Database) -> None:
    for statement in statements:
        db.conn.execute(statement)
    db.conn.execute(f"PRAGMA user_version = {number}")
