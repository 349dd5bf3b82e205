"""A journal looked at record by record: what is wrong with it, and where. Reads only, and never stops at the first."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from surefoot.errors import JournalError, SurefootError
from surefoot.journal.failures import translated
from surefoot.journal.journal import Journal
from surefoot.journal.schema import RECORD_TABLES, VERSION, wrapped
from surefoot.journal.store import Store, connect_read_only, inspect

MOST = 100
"""So many faults are told; a file that is all rubble need not be told of page by page."""


@dataclass(frozen=True, slots=True)
class Inspected:
    """What a journal's full check found.

    ``faults``: what is wrong and where, in words, worst first; ``notes``: what is no fault but worth knowing.
    """

    path: Path
    schema: int
    units: int
    runs: int
    open_runs: int
    faults: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def well(self) -> bool:
        """Whether nothing is wrong with it."""
        return not self.faults


def inspect_journal(path: Path) -> Inspected:
    """Check the whole file: pages, pointers, tables and triggers, and every record by reading it as the tool would.

    Raises JournalError for a file that is not there, is no journal, or has a newer schema.
    """
    with translated(path):
        notes, faults = _beside(path), _length(path)
    try:
        version = inspect(path)
    except sqlite3.DatabaseError as error:
        return Inspected(path, 0, 0, 0, 0, (*faults, f"its pages: {error}"), tuple(notes))
    if version == 0:
        raise JournalError("there is no journal here yet.", where=str(path))
    faults += _pages(path)
    units = runs = open_runs = 0
    try:
        with Journal(Store.open(path, read_only=True)) as journal:
            faults += _objects(journal, version)
            units, runs, open_runs = _counts(journal)
            faults += _records(journal)
    except SurefootError as error:
        faults.append(f"it cannot be read through: {error.what}")
    unique = tuple(dict.fromkeys(faults))
    if len(unique) > MOST:
        unique = (*unique[:MOST], f"and {len(unique) - MOST} more")
    if version < VERSION:
        notes.append(f"it has schema {version}; the next session brings it forward to {VERSION} and keeps a copy.")
    return Inspected(path, version, units, runs, open_runs, unique, tuple(notes))


def _beside(path: Path) -> list[str]:
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        return [f"{log.name} beside it holds its newest records: the two belong together."]
    return []


def _length(path: Path) -> list[str]:
    """A file that is shorter than its own first page says. Source: SQLite's documentation, database file format."""
    if not path.is_file():
        return []
    with path.open("rb") as file:
        head = file.read(100)
    log = path.with_name(path.name + "-wal")
    if len(head) < 100 or (log.exists() and log.stat().st_size):
        return []
    page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
    wanted, there = (65536 if page == 1 else page) * pages, path.stat().st_size
    return [f"it was cut short: {there:,} bytes of {wanted:,} are there"] if there < wanted else []


def _pages(path: Path) -> list[str]:
    with translated(path), closing(connect_read_only(path)) as connection:
        try:
            said = [str(row[0]) for row in connection.execute(f"PRAGMA integrity_check({MOST})")]
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
        except sqlite3.DatabaseError as error:
            return [f"its pages: {error}"]
    found = [f"its pages: {text}" for text in said if text != "ok"]
    return found + [f"{row[0]} {row[1]}: points to a record of {row[2]} that is not there" for row in orphans[:MOST]]


def _objects(journal: Journal, version: int) -> list[str]:
    """Tables, views and triggers that are not those of its schema: without a trigger it is no longer append-only."""
    if version < VERSION:
        return []
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as blank:
        from surefoot.journal import schema

        schema.migrations().apply(wrapped(blank))
        blank.row_factory = sqlite3.Row
        wanted = Store(journal.path, blank, read_only=True).schema_objects()
    there = journal.store.schema_objects()
    names = [name for name in sorted(wanted.keys() | there.keys()) if "_migrations" not in name]
    words = {(True, False): "is not there", (False, True): "does not belong there", (True, True): "was changed"}
    return [
        f"{name}: {words[name in wanted, name in there]}"
        for name in names
        if wanted.get(name) != there.get(name) and name != "bundle_seal"
    ]


def _counts(journal: Journal) -> tuple[int, int, int]:
    row = journal.store.row(
        "SELECT (SELECT count(*) FROM units) AS units, (SELECT count(*) FROM runs) AS runs,"
        " (SELECT count(*) FROM open_runs_view) AS open"
    )
    return (row["units"], row["runs"], row["open"]) if row else (0, 0, 0)


def _records(journal: Journal) -> list[str]:
    faults = []

    def tried(what: str, read: Callable[[], object]) -> bool:
        try:
            read()
        except (SurefootError, ValueError, TypeError, KeyError, AssertionError, sqlite3.Error) as error:
            said = error.what if isinstance(error, SurefootError) else f"{type(error).__name__}: {error}"
            faults.append(f"{what}: {said}")
            return False
        return True

    for table in RECORD_TABLES:
        tried(table, partial(journal.store.tuples, f"SELECT count(*) FROM {table} NOT INDEXED"))
    for row in journal.store.tuples("SELECT name FROM units ORDER BY rowid"):
        name = str(row[0])
        kinds = ("card_history", "consent", "standing", "known_machines", "exceptions", "scores", "readings",
                 "configuration_names", "forecasts", "trials")  # fmt: skip
        for kind in kinds:
            tried(f"unit {name!r}, {kind.replace('_', ' ')}", partial(getattr(journal, kind), name))
    for (number,) in journal.store.tuples("SELECT id FROM runs ORDER BY id"):
        if tried(f"run {number}", partial(journal.run, number)):
            tried(f"run {number}, trace", partial(journal.trace, number))
    return faults
