"""The journal's schema: its versions, and how an older file is brought forward.

Migrations are those of sqlite-utils: named, applied in order, each in one transaction with the record that it was
applied (table `_sqlite_migrations`). `PRAGMA user_version` carries the number of the newest one, so that an everyday
opening needs to read a single number and not to import sqlite-utils at all.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from surefoot.journal import schema_1

if TYPE_CHECKING:
    import sqlite3

    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

APPLICATION_ID = 0x53724674
"""`PRAGMA application_id` of a journal: the letters SrFt."""

VERSION = 1
"""The schema that this version of Surefoot writes: the number of migrations."""


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

    @steps(name="schema 1")  # type: ignore[untyped-decorator]
    def _first(db: Database) -> None:
        for statement in schema_1.statements():
            db.conn.execute(statement)
        db.conn.execute("PRAGMA user_version = 1")

    return steps
