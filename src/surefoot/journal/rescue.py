"""What is readable of a damaged journal, brought into a new file; what could not be is counted, not guessed.

Every row is read by its own number, so that a damaged page takes only its own rows with it, and every run is read back
as the tool would read it before it is kept. The damaged file is never changed.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections import Counter
from collections.abc import Generator, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from surefoot.errors import BadInput, JournalError, SurefootError
from surefoot.journal import schema
from surefoot.journal.bundle_rows import OF_RUN, ORDER
from surefoot.journal.failures import translated
from surefoot.journal.journal import Journal
from surefoot.journal.whole import workroom
from surefoot.runs import Closing, Outcome
from surefoot.whole_file import put

_FIRST = ("units", "trace_layouts", "column_mappings")
_BROKEN = (SurefootError, sqlite3.Error, ValueError, TypeError, KeyError, AssertionError)
Row = dict[str, Any]


@dataclass(slots=True)
class Rescued:
    """What was brought over. ``kept``, ``lost``: records by table; a table of which nothing can be read counts once.

    ``words``: what was left out or mended, for people.
    """

    path: Path
    runs: int = 0
    units: int = 0
    kept: Counter[str] = field(default_factory=Counter)
    lost: Counter[str] = field(default_factory=Counter)
    words: list[str] = field(default_factory=list)


def rescue(damaged: Path, target: str | os.PathLike[str], *, overwrite: bool = False) -> Rescued:
    """Bring every readable record of a journal into a new one.

    Raises BadInput for a target that is there (unless ``overwrite``), JournalError for a file of which nothing can be
    read, that is none of ours, or that a newer version wrote.
    """
    to = Path(target).expanduser()
    if not damaged.is_file():
        raise JournalError("there is no journal here.", where=str(damaged))
    if to.exists() and (to.resolve() == damaged.resolve() or not overwrite):
        raise BadInput("there is a file of that name.", where=str(to), remedy="Choose another, or give --force.")
    if not to.parent.is_dir():
        raise BadInput("there is no such folder.", where=str(to.parent))
    done = Rescued(to)
    with translated(to), workroom(to.parent) as room:
        source = _opened(damaged, room)
        with closing(source), Journal.open(room / "new.sqlite") as new:
            _bring(source, new, done)
            new.store.into_one_file()
        put(room / "new.sqlite", to, overwrite=overwrite)
    return done


def _opened(damaged: Path, room: Path) -> sqlite3.Connection:
    """A copy of the damaged file, opened so that SQLite reads on past what is wrong, at today's schema if it can be."""
    copy = room / "damaged.sqlite"
    shutil.copyfile(damaged, copy)
    _lengthen(copy)
    log = damaged.with_name(damaged.name + "-wal")
    if log.exists():
        shutil.copyfile(log, copy.with_name(copy.name + "-wal"))
    connection = sqlite3.connect(copy, isolation_level=None)
    connection.row_factory = sqlite3.Row
    try:
        # Lets SQLite read on where a table's first page is not what it should be. Source: SQLite's pragma page.
        connection.execute("PRAGMA writable_schema = ON")
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        tables = _tables(connection)
    except sqlite3.Error as error:
        connection.close()
        raise JournalError(
            f"nothing of it can be read ({error}): its first page is lost.",
            where=str(damaged),
            remedy="Take the newest backup or bundle (`surefoot bundle load`).",
        ) from error
    if application != schema.APPLICATION_ID and not {"runs", "cards", "closings"} <= tables.keys():
        connection.close()
        raise JournalError("this is no journal of Surefoot's.", where=str(damaged), remedy="It was not touched.")
    if version > schema.VERSION:
        connection.close()
        raise JournalError(f"it has schema {version}; this version knows {schema.VERSION}.", where=str(damaged))
    return connection


def _lengthen(copy: Path) -> None:
    """Give a file that was cut short its length again, for SQLite opens none that is shorter than its head says.

    Source: SQLite's documentation, database file format, bytes 16 to 17 and 28 to 31.
    """
    with copy.open("rb+") as file:
        head = file.read(100)
        if len(head) == 100:
            page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
            # Never more than four times what is there: a damaged head may say anything.
            wanted = min((65536 if page == 1 else page) * pages, 4 * copy.stat().st_size)
            file.truncate(max(wanted, copy.stat().st_size))


def _bring(source: sqlite3.Connection, new: Journal, done: Rescued) -> None:
    store = new.store
    with store.transaction():
        for table in _FIRST:
            for row in _rows(source, table, done):
                _keep(new, table, row, done)
        cards = _bring_cards(source, new, done)
        for table in [name for name in ORDER if name not in OF_RUN and name not in ("cards", "runs")]:
            if table in ("trials", "trial_ends", "consents"):
                for row in _rows(source, table, done):
                    _keep(new, table, row, done)
        of_run: dict[int, list[tuple[str, Row]]] = {}
        for table in (name for name in ORDER if name in OF_RUN):
            for row in _rows(source, table, done):
                of_run.setdefault(int(row["run_id"]), []).append((table, row))
        last: dict[str, int] = {}
        for run in _rows(source, "runs", done):
            if _bring_run(new, run, of_run.pop(int(run["id"]), []), cards, done):
                last[run["unit"]] = run["id"]
        for orphans in of_run.values():
            done.lost.update(table for table, _ in orphans)
        _close_what_cannot_be_open(new, last, done)
        for table in ("scores", "readings", "configuration_names", "forecasts", "standings", "machines", "exceptions"):
            for row in _rows(source, table, done):
                _keep(new, table, row, done)
        done.units = len(new.units(retired=True))
        done.runs = done.kept["runs"]


def _rows(source: sqlite3.Connection, table: str, done: Rescued) -> Iterator[Row]:
    """Every row of a table that can be read, in order of its number; the others are counted."""
    try:
        there = source.execute(f"SELECT min(rowid), max(rowid) FROM {table}").fetchone()
    except sqlite3.Error:
        there = None
    if there is not None and there[0] is None:
        return
    highest = max(there[1] if there else 0, _given(source, table))
    if there is None and not highest:
        tables = _tables(source)
        # An older schema may not have the table; a list that cannot be read to its end does not tell.
        if table in tables or not tables[""]:
            done.lost[table] += 1
        return
    at = (there[0] if there else 1) - 1
    while at < highest:
        try:
            cursor = source.execute(f"SELECT rowid AS _place, * FROM {table} WHERE rowid > ? ORDER BY rowid", (at,))
            for row in cursor:
                values = dict(row)
                at = int(values.pop("_place"))
                yield values
            return
        except (sqlite3.Error, UnicodeDecodeError):
            # The next row cannot be read: past it, one number at a time until one can be.
            at = yield from _past(source, table, at, highest, done)


def _past(source: sqlite3.Connection, table: str, at: int, highest: int, done: Rescued) -> Generator[Row, None, int]:
    while at < highest:
        at += 1
        try:
            row = source.execute(f"SELECT * FROM {table} WHERE rowid = ?", (at,)).fetchone()
        except (sqlite3.Error, UnicodeDecodeError):
            done.lost[table] += 1
            continue
        if row is not None:
            yield dict(row)
            return at
    return at


def _given(source: sqlite3.Connection, table: str) -> int:
    """The highest number ever given in a table, where SQLite keeps it."""
    with suppress(sqlite3.Error):
        row = source.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", (table,)).fetchone()
        return int(row[0]) if row else 0
    return 0


def _tables(source: sqlite3.Connection) -> dict[str, bool]:
    """The tables that can be found, and under "" whether the list of them could be read to its end."""
    found = {}
    try:
        for row in source.execute("SELECT name FROM sqlite_master WHERE type = 'table'"):
            found[str(row[0])] = True
        found[""] = True
    except sqlite3.Error:
        found[""] = False
    return found


def _insert(new: Journal, table: str, row: Mapping[str, Any]) -> None:
    new.store.insert(table, **row)


def _keep(new: Journal, table: str, row: Row, done: Rescued) -> bool:
    """Keep one record if it can stand in a journal; count it either way."""
    try:
        _insert(new, table, row)
    except (sqlite3.Error, SurefootError):
        done.lost[table] += 1
        return False
    done.kept[table] += 1
    return True


def _bring_cards(source: sqlite3.Connection, new: Journal, done: Rescued) -> dict[str, list[int]]:
    """Cards that can be read, by unit; a unit none of whose cards can is left out, and its runs with it."""
    from surefoot.units import Unit

    cards: dict[str, list[int]] = {}
    for row in _rows(source, "cards", done):
        try:
            if row["card"] is not None:
                Unit.model_validate_json(row["card"])
            if not new.store.row("SELECT 1 FROM units WHERE name = ?", (row["unit"],)):
                new.store.insert("units", name=row["unit"], added_at=row["at"])
                done.words.append(f"unit {row['unit']!r}: its entry could not be read; made again from its card.")
            if row["card"] is not None and row["unit"] not in cards:
                row["event"] = "add"
        except (ValueError, sqlite3.Error):
            done.lost["cards"] += 1
            continue
        if _keep(new, "cards", row, done) and row["card"] is not None:
            cards.setdefault(row["unit"], []).append(int(row["id"]))
    return cards


def _bring_run(
    new: Journal, run: Row, parts: list[tuple[str, Row]], cards: Mapping[str, list[int]], done: Rescued
) -> bool:
    """One run with all that belongs to it, read back before it is kept."""
    number, known = int(run["id"]), cards.get(run["unit"], [])
    if not known:
        done.lost["runs"] += 1
        done.words.append(f"run {number}: no card of unit {run['unit']!r} could be read.")
        return False
    if run["card_id"] not in known:
        run["card_id"] = max((card for card in known if card < run["card_id"]), default=known[0])
        done.words.append(f"run {number}: its card could not be read; it stands with card {run['card_id']}.")
    connection = new.store.connection
    connection.execute("SAVEPOINT run")
    try:
        _insert(new, "runs", run)
        kept, lost = _parts(new, number, parts)
        new.run(number)
    except _BROKEN as error:
        connection.execute("ROLLBACK TO run")
        connection.execute("RELEASE run")
        done.lost["runs"] += 1
        said = error.what if isinstance(error, SurefootError) else str(error)
        done.words.append(f"run {number} of {run['unit']!r} was left out: {said}")
        return False
    connection.execute("RELEASE run")
    done.kept["runs"] += 1
    done.kept += kept
    done.lost += lost
    if lost:
        words = ", ".join(f"{count} of its {table.replace('_', ' ')}" for table, count in sorted(lost.items()))
        done.words.append(f"run {number} of {run['unit']!r}: {words} could not be read.")
    return True


def _parts(new: Journal, number: int, parts: list[tuple[str, Row]]) -> tuple[Counter[str], Counter[str]]:
    kept: Counter[str] = Counter()
    lost: Counter[str] = Counter()
    connection = new.store.connection
    for table, row in parts:
        connection.execute("SAVEPOINT part")
        try:
            _insert(new, table, row)
            if table == "trace_blocks":
                new.trace(number)
            else:
                new.run(number)
        except _BROKEN:
            connection.execute("ROLLBACK TO part")
            lost[table] += 1
        else:
            kept[table] += 1
        connection.execute("RELEASE part")
    return kept, lost


def _close_what_cannot_be_open(new: Journal, last: Mapping[str, int], done: Rescued) -> None:
    """Of a unit only its last run can have been open; how an earlier one ended could not be read."""
    for run in new.open_runs():
        if run.id == last[run.plan.unit_name]:
            continue
        judged = "rescued: how it ended could not be read"
        closing = Closing(outcome=Outcome.VOID, minutes=run.last_minutes, judged_by=judged, timed=False)
        new.close_run(run.id, closing)
        done.words.append(f"run {run.id}: how it ended could not be read; it is void, no evidence.")
