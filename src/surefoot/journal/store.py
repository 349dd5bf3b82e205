"""The file: opening, refusing, durability, transactions.

Durable at every acknowledged step: write-ahead log with synchronous=FULL, so the log is flushed to the disk inside
each COMMIT (with F_FULLFSYNC on macOS). WAL and not a rollback journal, because there a client that merely looks at
the file (a database browser left open on `runs_view`) could keep a session from writing its next heartbeat. The price
of WAL, that the newest records live in a second file, is kept small: after every step but a heartbeat the log is
copied into the main file, so that a copy of `journal.sqlite` alone lacks at most the heartbeats of a run in progress.
Where a file system cannot do WAL, TRUNCATE with FULL is used: it flushes the truncated rollback journal too (DELETE
with FULL does not flush the directory, and a power loss could bring a rollback journal back and undo an acknowledged
step). Source: SQLite's documentation, PRAGMA synchronous and Write-Ahead Logging.
"""

from __future__ import annotations

import sqlite3
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

from surefoot.errors import JournalError
from surefoot.journal import locks, schema
from surefoot.journal.copying import copy_journal
from surefoot.journal.failures import (
    READ_ONLY_REMEDY,
    DiskFull,
    NotWritable,
    damaged,
    not_kept,
    translate,
    translated,
)
from surefoot.journal.filesystem import ground_of
from surefoot.journal.reserve import give_up_reserve
from surefoot.journal.whole import sweep, workroom
from surefoot.whole_file import make_folder, put, sync_folder

T = TypeVar("T")
BUSY_SECONDS = 5.0
SYNCHRONOUS = "FULL"
"""Each step is flushed to the disk inside the call that makes it. The suite waits only where that is tested."""
PAGE_BYTES = 8192
"""A heartbeat's samples take some 500 to 1,000 bytes: on SQLite's usual 4,096 a fifth of each page would stay empty."""
LOOKED_THROUGH_BYTES = 16_000_000
"""A file up to here is looked through before the first step that is written, some 5 ms a megabyte; of a larger one the
tables that do not grow with every heartbeat are. Damage in the others is found when it is met, and by `journal check`.
"""
GROWING = ("heartbeats", "trace_blocks")
_MAGIC = b"SQLite format 3\x00"


class Store:
    """One open journal file. Use `Store.open`; every error is a JournalError."""

    def __init__(self, path: Path, connection: sqlite3.Connection, *, read_only: bool) -> None:
        self.path = path
        self.read_only = read_only
        self.connection = connection
        self._mutex = threading.RLock()
        self._looked_through = False
        self._identity = identity_of(path)

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Store:
        """Open a journal, created or migrated forward as needed. Refuses a foreign, newer or damaged file unchanged."""
        with translated(path):
            if read_only:
                if not path.is_file():
                    raise JournalError(
                        "there is no journal here yet.",
                        where=str(path),
                        remedy="`surefoot unit add NAME` begins one; SUREFOOT_HOME says where it is kept.",
                    )
                if inspect(path) < schema.VERSION:
                    return cls(path, _brought_forward_in_memory(path), read_only=True)
                return cls(path, connect_read_only(path), read_only=True)
            _refuse_network(path)
            if inspect(path) < schema.VERSION:
                _create_or_migrate(path)
            sweep(path.parent)
            return cls(path, _connect(path), read_only=False)

    def close(self) -> None:
        """Close the file. Safe to call twice."""
        with self._mutex:
            self.connection.close()

    def rows(self, sql: str, parameters: Sequence[Any] = ()) -> list[sqlite3.Row]:
        """All rows of a query, fetched at once so that no read is left open."""
        with self._mutex, self._errors():
            return self.connection.execute(sql, sound(parameters)).fetchall()

    def tuples(self, sql: str, parameters: Sequence[Any] = ()) -> list[Any]:
        """All rows of a query as plain tuples, for the many rows of a trace."""
        with self._mutex, self._errors():
            cursor = self.connection.cursor()
            cursor.row_factory = None
            return cursor.execute(sql, parameters).fetchall()

    def row(self, sql: str, parameters: Sequence[Any] = ()) -> sqlite3.Row | None:
        """The first row of a query, or None."""
        found = self.rows(sql, parameters)
        return found[0] if found else None

    def insert(self, table: str, **values: Any) -> int:
        """Append one record; its row id. Only inside `transaction`."""
        names = ", ".join(values)
        places = ", ".join("?" * len(values))
        # Table and column names come from our own code, never from input.
        made = self.connection.execute(
            f"INSERT INTO {table} ({names}) VALUES ({places})", sound(tuple(values.values()))
        )
        return int(made.lastrowid or 0)

    @contextmanager
    def snapshot(self) -> Iterator[Store]:
        """Several reads of one state of the file, whatever is written meanwhile."""
        with self._mutex, self._errors():
            if self._inside():
                yield self
                return
            self.connection.execute("BEGIN")
            try:
                yield self
            finally:
                if self._inside():
                    self.connection.execute("ROLLBACK")

    def schema_objects(self) -> dict[str, str]:
        """The SQL of every table, view, index and trigger by name, its white space evened out."""
        rows = self.rows(
            "SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        )
        return {str(row["name"]): " ".join(str(row["sql"]).split()) for row in rows}

    def into_one_file(self) -> None:
        """Make the file whole by itself, with no log beside it, and close it."""
        with self._mutex, self._errors():
            self.connection.execute("PRAGMA journal_mode = TRUNCATE").fetchall()
            self.connection.close()
        for suffix in ("-journal", "-wal", "-shm"):
            self.path.with_name(self.path.name + suffix).unlink(missing_ok=True)

    @contextmanager
    def transaction(self, *, copy_down: bool = True) -> Iterator[Store]:
        """One acknowledged step: on disk when the block has ended without an error, not there at all otherwise.

        ``copy_down``: then copy the log into the main file, without waiting for anyone. Nested blocks join the outer.
        """
        with self._mutex, self._errors():
            if self.read_only:
                raise JournalError(
                    "the journal was opened for reading only.", where=str(self.path), remedy=READ_ONLY_REMEDY
                )
            if self._inside():
                yield self
                return
            self._still_there()
            self._look_through()
            # IMMEDIATE: what is checked inside the block cannot be changed by another process before it is written.
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self
                self.connection.execute("COMMIT")
            except BaseException:
                if self._inside():
                    self.connection.execute("ROLLBACK")
                raise
            if copy_down:
                # The step is on disk already: what goes wrong here must not be told as a step that failed.
                with suppress(sqlite3.Error):
                    self.connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    def _still_there(self) -> None:
        """Refuse to write into a file that has lost its name: it would be gone with this process."""
        if self._identity is not None and identity_of(self.path) != self._identity:
            raise JournalError(
                "the journal's file was taken away or replaced while it was open.",
                where=str(self.path),
                remedy="Nothing more was written. Put it back (or the disk that it is on), then start again: "
                "what was acknowledged before is in it.",
            )

    def pressed(self, step: Callable[[], T]) -> T:
        """Make a step that must not be lost for want of room: how a run ended, what stands applied.

        When the disk is full, the room that is kept for such records is given up, and the step is made once more.
        """
        try:
            return step()
        except DiskFull:
            if not give_up_reserve(self.path.parent):
                raise
            return step()

    def _look_through(self) -> None:
        """Before the first step: refuse a file whose pages are damaged. What is added to rubble is rubble."""
        if self._looked_through:
            return
        if self.path.exists() and self.path.stat().st_size > LOOKED_THROUGH_BYTES:
            tables = [table for table in schema.RECORD_TABLES if table not in GROWING]
            wanted = [f"PRAGMA quick_check('{table}')" for table in tables]
        else:
            wanted = ["PRAGMA quick_check(1)"]
        for sql in wanted:
            if (said := str(self.connection.execute(sql).fetchone()[0])) != "ok":
                raise damaged(self.path, said.replace("*** in database main ***", "").strip())
        self._looked_through = True

    def _inside(self) -> bool:
        return self.connection.in_transaction

    @contextmanager
    def _errors(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise translate(error, self.path) from error
        except (UnicodeEncodeError, OverflowError) as error:
            raise not_kept(error) from None

    def faults(self) -> list[str]:
        """What SQLite's own full check finds wrong, foreign keys included; [] when the file is well."""
        with self._mutex, self._errors():
            said = [str(row[0]) for row in self.connection.execute("PRAGMA integrity_check")]
            orphans = self.connection.execute("PRAGMA foreign_key_check").fetchall()
        found = [text for text in said if text != "ok"]
        return found + [f"record {row[1]} of {row[0]} points to a {row[2]} that is not there" for row in orphans]


def sound(values: Sequence[Any]) -> tuple[Any, ...]:
    """Values whose texts are texts: bytes that a locale could not read are read as UTF-8, where they are that."""
    return tuple(_read_as_utf8(value) if isinstance(value, str) and not value.isascii() else value for value in values)


def _read_as_utf8(text: str) -> str:
    try:
        return text.encode("utf-8", "surrogateescape").decode("utf-8")
    except UnicodeError:
        # No text in any locale: refused where it is written.
        return text


def identity_of(path: Path) -> tuple[int, int] | None:
    """Which file stands under a name: device and number; None when there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _refuse_network(path: Path) -> None:
    ground = ground_of(path.resolve().parent)
    if ground.kind == "network":
        raise NotWritable(
            f"a journal is not written over a network ({ground.name}): its log does not work there, and while the "
            "line hangs nobody would watch the ceilings.",
            where=str(path),
            remedy="Set SUREFOOT_HOME to a folder on a disk of this machine's own; `surefoot journal backup` copies it "
            "to the network.",
        )


def inspect(path: Path) -> int:
    """The schema version of a file, 0 when it is not there or empty. Raises JournalError for one that is not ours.

    Read only: a file that is refused is left as it was found.
    """
    if path.is_dir():
        raise JournalError("this is a folder, not a journal.", where=str(path))
    if not path.exists() or path.stat().st_size == 0:
        _no_log_alone(path)
        return 0
    with path.open("rb") as file:
        head = file.read(len(_MAGIC))
    if head != _MAGIC:
        raise damaged(path, "its first bytes are not those of a SQLite file")
    with closing(connect_read_only(path)) as connection:
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if application != schema.APPLICATION_ID:
        if application == 0 and version == 0 and tables == 0:
            return 0
        raise JournalError(
            "this is a SQLite file, but not a journal of Surefoot's.",
            where=str(path),
            remedy="It was not touched. Set SUREFOOT_HOME to another folder, or move the file away.",
        )
    if version > schema.VERSION:
        raise JournalError(
            f"the journal has schema {version}, written by a newer Surefoot; this one knows up to {schema.VERSION}.",
            where=str(path),
            remedy="It was not touched. Install the newer version again.",
        )
    return version


def _no_log_alone(path: Path) -> None:
    """Raises JournalError for a write-ahead log whose journal is not there: beginning anew would throw it away."""
    log = path.with_name(path.name + "-wal")
    if log.exists() and log.stat().st_size:
        raise JournalError(
            f"the journal is gone, and {log.name}, which holds its newest records, is still there.",
            where=str(path),
            remedy="Nothing was touched. Put the journal back beside it; or take your last backup, and move the log "
            "away: it belongs to no other file.",
        )


def _uri(path: Path, query: str) -> str:
    plain = path.resolve().as_uri()
    # SQLite takes no host in a URI: a Windows share is a path that begins with two slashes.
    return f"{plain if plain.startswith('file:///') else plain.replace('file://', 'file:////', 1)}?{query}"


def connect_read_only(path: Path) -> sqlite3.Connection:
    """A connection that cannot write. Raises sqlite3.Error."""
    connection = sqlite3.connect(
        _uri(path, "mode=ro"), uri=True, timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False
    )
    try:
        connection.execute("PRAGMA user_version").fetchone()
    except sqlite3.Error as error:
        connection.close()
        if "readonly" in str(error) and _undo_half_a_step(path):
            return connect_read_only(path)
        # In a folder that cannot be written SQLite cannot make the shared memory that WAL needs. With no log beside
        # it the file is whole, and nobody can be writing it from here: read it as it lies.
        # The same on a disk without room for it, where the log may stand there empty.
        log = path.with_name(path.name + "-wal")
        if not isinstance(error, sqlite3.OperationalError) or (log.exists() and log.stat().st_size):
            raise
        connection = sqlite3.connect(
            _uri(path, "mode=ro&immutable=1"), uri=True, isolation_level=None, check_same_thread=False
        )
    connection.row_factory = sqlite3.Row
    return connection


def _undo_half_a_step(path: Path) -> bool:
    """Let SQLite take back a step that a power cut left half written in a journal of ours; whether it was needed.

    Only a file with a rollback journal beside it: one from before write-ahead logging, cut while it was changed to it.
    """
    beside = path.with_name(path.name + "-journal")
    with path.open("rb") as file:
        head = file.read(72)
    # Bytes 68 to 71 are the application's mark. Source: SQLite's documentation, database file format.
    if int.from_bytes(head[68:72], "big") != schema.APPLICATION_ID or not beside.exists() or not beside.stat().st_size:
        return False
    with closing(sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)) as connection:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return not beside.exists() or not beside.stat().st_size


def _brought_forward_in_memory(path: Path) -> sqlite3.Connection:
    """An older journal as today's schema has it, in memory: to be read where its file cannot or must not be changed."""
    made = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    with closing(connect_read_only(path)) as old:
        old.backup(made)
    schema.migrations().apply(schema.wrapped(made))
    made.row_factory = sqlite3.Row
    return made


def _connect(path: Path, *, page_bytes: int | None = None) -> sqlite3.Connection:
    connection = sqlite3.connect(str(path), timeout=BUSY_SECONDS, isolation_level=None, check_same_thread=False)
    connection.row_factory = sqlite3.Row
    try:
        if page_bytes:
            connection.execute(f"PRAGMA page_size = {page_bytes}")
        connection.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
        if sys.platform == "darwin":  # pragma: no cover
            connection.execute("PRAGMA fullfsync = ON")
            connection.execute("PRAGMA checkpoint_fullfsync = ON")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        if connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
            _make_wal(connection)
        # A first write lock says now, and not in the middle of a run, that the file cannot be written.
        connection.execute("BEGIN IMMEDIATE")
        connection.execute("ROLLBACK")
    except BaseException:
        connection.close()
        raise
    return connection


def _make_wal(connection: sqlite3.Connection) -> None:
    if connection.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
        connection.execute("PRAGMA journal_mode = TRUNCATE")


def _create_or_migrate(path: Path) -> None:
    folder = path.parent
    make_folder(folder)
    with locks.held(folder, f"schema of {path.name}", "the journal is being set up", wait_seconds=30):
        before = inspect(path)
        if before >= schema.VERSION:
            return
        if not path.exists() or path.stat().st_size == 0:
            _create(path)
            return
        if before:
            _keep_copy(path, before)
        with closing(_connect(path)) as connection:
            # First of all, so that a creation cut short (by an older Surefoot) is known as ours and finished.
            connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            schema.migrations().apply(schema.wrapped(connection))
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        sync_folder(folder)


def _create(path: Path) -> None:
    """Make a new journal elsewhere and put it in its place whole: one that is there at all can be used."""
    with workroom(path.parent) as room:
        made = room / path.name
        with closing(_connect(made, page_bytes=PAGE_BYTES)) as connection:
            connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            schema.migrations().apply(schema.wrapped(connection))
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        for suffix in ("-wal", "-journal"):
            left = made.with_name(made.name + suffix)
            if left.exists() and left.stat().st_size:
                raise JournalError("a new journal could not be made in one file.", where=str(left))
        # An empty file of that name is what a creation that was cut short, or `touch`, left.
        put(made, path, overwrite=path.exists())


def _keep_copy(path: Path, version: int) -> None:
    """A copy of the file as it was before a migration, beside it: whole and on the disk before anything is changed."""
    kept = path.with_name(f"{path.stem}.schema-{version}.sqlite")
    with closing(connect_read_only(path)) as old:
        if old.execute("SELECT 1 FROM sqlite_master WHERE name = 'units'").fetchone() is None or (
            old.execute("SELECT 1 FROM units UNION ALL SELECT 1 FROM column_mappings LIMIT 1").fetchone() is None
        ):
            # Nothing was ever recorded: a creation that was cut short, and is finished now.
            return
        copy_journal(old, path.parent, kept, overwrite=True)
