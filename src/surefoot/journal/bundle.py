"""A unit's journal as one portable file. A bundle is itself a journal that holds one unit and nothing else.

It carries a seal, the SHA-256 of every record in it, because SQLite's own check does not see a changed value: a bundle
is what is left when the machine's disk is gone, and must not come back with other numbers. A journal without a seal,
saved from such a disk by hand, can be loaded as well when it holds one unit.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from surefoot.errors import BadInput, JournalError
from surefoot.journal.bundle_merge import mark, merge
from surefoot.journal.bundle_private import LeavingOut
from surefoot.journal.bundle_rows import copy_unit
from surefoot.journal.failures import translated
from surefoot.journal.journal import Journal
from surefoot.journal.schema import APPLICATION_ID
from surefoot.journal.store import Store, inspect
from surefoot.journal.whole import workroom
from surefoot.units import Unit, validated
from surefoot.whole_file import put

_SEAL = "bundle_seal"
SQLITE_HEAD = b"SQLite format 3\x00"
HEAD_BYTES = 100
_UNREADABLE = (ValueError, TypeError, KeyError, OverflowError, AttributeError)
"""What a value of the wrong kind in some field of a file from elsewhere ends in."""


@dataclass(frozen=True)
class Bundled:
    """What went through a bundle. ``unit_name``: in the journal; ``named``, ``runs``: in the bundle.

    ``added``: how many of them were new here; ``merged``: whether the unit was here before; ``conflicts``: what the two
    say differently, in words, and which of them counts; ``left_out``: what the bundle does not carry.
    """

    unit_name: str
    named: str
    path: Path
    runs: int
    bytes: int
    added: int = 0
    merged: bool = False
    conflicts: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def save_bundle(
    journal: Journal, unit_name: str, path: str | os.PathLike[str], *, overwrite: bool = False, whole: bool = False
) -> Bundled:
    """Write a unit with all its records into a file of its own. The file is there whole, or not at all.

    Names of user and host, paths and serial numbers are left out unless ``whole``: see `bundle_private`.
    Raises BadInput for an unknown unit and for a file that is there already (unless ``overwrite``), JournalError while
    a run of the unit is open or when the file cannot be written.
    """
    target = Path(path).expanduser()
    journal.unit(unit_name)
    if target.is_dir():
        raise BadInput("this is a folder; a bundle is a file.", where=str(target))
    if target.exists():
        if target.resolve() == journal.path.resolve():
            raise BadInput("this is the journal itself.", where=str(target))
        if not overwrite:
            raise BadInput(
                "there is a file of that name.", where=str(target), remedy="Choose another, or give --force."
            )
    if not target.parent.is_dir():
        raise BadInput("there is no such folder.", where=str(target.parent))
    leaving = None if whole else LeavingOut()
    with translated(target), workroom(journal.path.parent) as folder:
        made = folder / "bundle.sqlite"
        with closing(Store.open(made)) as store:
            with journal.store.snapshot() as source, store.transaction():
                _refuse_open(source, unit_name)
                runs = copy_unit(source, store, unit_name, unit_name, keep_ids=True, change=leaving)
            left_out = () if leaving is None else leaving.words()
            with store.transaction():
                store.connection.execute(f"CREATE TABLE {_SEAL} (sha256 TEXT NOT NULL, left_out TEXT)")
                store.insert(_SEAL, sha256=_digest(store.connection), left_out=None if whole else json.dumps(left_out))
            store.into_one_file()
        try:
            put(made, target, overwrite=overwrite)
        except OSError as error:
            raise BadInput(f"nothing can be written here: {error.strerror or error}.", where=str(target)) from None
        return Bundled(unit_name, unit_name, target, runs, target.stat().st_size, left_out=left_out)


def load_bundle(journal: Journal, path: str | os.PathLike[str], *, name: str | None = None) -> Bundled:
    """Enter the unit of a bundle into the journal with its card history and all times, under ``name`` or its own.

    When that very unit is here already, what the bundle knows beyond it is added: see `surefoot.journal.bundle_merge`.
    Everything or nothing. Runs get new ids. Raises BadInput when the file is not a bundle of one unit, is damaged, when
    another unit has that name, or the very unit is here under another; JournalError when it cannot be written.
    """
    file = Path(path).expanduser()
    if not file.is_file():
        raise BadInput("there is no such file.", where=str(file))
    if file.resolve() == journal.path.resolve():
        raise BadInput("this is the journal itself.", where=str(file))
    # Worked on in a copy: an older one is brought forward there, and the file given is never changed.
    with workroom(journal.path.parent) as folder:
        copy = folder / "bundle.sqlite"
        named = _checked_copy(file, copy, journal.store.schema_objects())
        unit = validated(Unit, {"name": name if name is not None else named}, "--as").name
        with Journal.open(copy) as bundle, journal.store.transaction() as target:
            left_out = _left_out(bundle.store)
            here = _here(journal, bundle, named, unit, name is not None)
            size = file.stat().st_size
            if here is None:
                try:
                    runs = copy_unit(bundle.store, target, named, unit, keep_ids=False)
                except KeyError as error:
                    raise _astray(file, error) from error
                return Bundled(unit, named, file, runs, size, runs, left_out=left_out or ())
            own = journal.unit(here) if left_out is not None else None
            try:
                merged = merge(bundle.store, target, named, here, own)
            except KeyError as error:
                raise _astray(file, error) from error
            return Bundled(here, named, file, merged.runs, size, merged.added, True, merged.conflicts, left_out or ())


def _checked_copy(file: Path, copy: Path, schema: dict[str, str]) -> str:
    """Copy a bundle and read every record of it once; the name of its unit.

    ``schema``: what a journal's tables, views and triggers are. A file from elsewhere with any others is refused before
    one of them is used, for a view or trigger can run what its author likes.
    """
    try:
        with translated(file):
            _refuse_foreign(file)
            if inspect(file) == 0:
                raise BadInput("the file is empty.", where=str(file))
            for suffix in ("", "-wal"):
                part = file.with_name(file.name + suffix)
                if part.exists():
                    shutil.copyfile(part, copy.with_name(copy.name + suffix))
            # Before it is opened as a journal, which may bring an older one forward and so change it.
            _refuse_broken_seal(file, copy)
        with Journal.open(copy) as bundle:
            objects = bundle.store.schema_objects()
            objects.pop(_SEAL, None)
            if objects != schema:
                raise BadInput("its tables are not those of a bundle.", where=str(file))
            units = bundle.units(retired=True)
            if len(units) != 1:
                raise BadInput(
                    f"a bundle holds one unit; this file holds {len(units)}.",
                    where=str(file),
                    remedy="Make one with `surefoot bundle save UNIT FILE`.",
                )
            name = units[0].name
            faults = bundle.faults()
            if faults:
                raise BadInput(f"the bundle is damaged: {faults[0]}.", where=str(file))
            _refuse_open(bundle.store, name)
            bundle.card_history(name)
            for run in bundle.runs(name):
                bundle.trace(run.id)
            for read in (bundle.scores, bundle.readings, bundle.forecasts, bundle.configuration_names, bundle.trials):
                read(name)
            return name
    except JournalError as error:
        raise BadInput(f"the bundle cannot be used: {error.what}", where=str(file), remedy=error.remedy) from error
    except _UNREADABLE as error:
        if isinstance(error, BadInput):
            raise
        raise BadInput(f"the bundle cannot be used: {error}.", where=str(file)) from error


def _astray(file: Path, error: KeyError) -> BadInput:
    return BadInput(
        f"the bundle is damaged: a record belongs to {error.args[0]!r}, which is not in it.", where=str(file)
    )


def _refuse_foreign(file: Path) -> None:
    """Refuse what never was a bundle: a picture, a table, somebody else's database. Raises BadInput."""
    with file.open("rb") as opened:
        head = opened.read(HEAD_BYTES)
    if head and not head.startswith(SQLITE_HEAD):
        raise BadInput(
            "this is not a bundle.", where=str(file), remedy="`surefoot bundle save UNIT FILE` makes one; a table of "
            "runs is read by `surefoot log --from`, a sensor log by `surefoot trace import`.",
        )  # fmt: skip
    # The application's mark, bytes 68 to 71. Source: SQLite's documentation, database file format.
    mark = int.from_bytes(head[68:72], "big")
    if len(head) == HEAD_BYTES and mark != APPLICATION_ID:
        raise BadInput("this is a database, but not a bundle of Surefoot's.", where=str(file))


def _refuse_broken_seal(file: Path, copy: Path) -> None:
    with closing(sqlite3.connect(copy)) as connection:
        if connection.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (_SEAL,)).fetchone():
            sealed = connection.execute(f"SELECT sha256 FROM {_SEAL}").fetchone()
            if sealed is None or sealed[0] != _digest(connection):
                raise BadInput(
                    "its records are not those it was sealed with: it is damaged, or was changed since.",
                    where=str(file),
                    remedy="Take another copy of it, or save it anew.",
                )


def _left_out(store: Store) -> tuple[str, ...] | None:
    """What the bundle says that it does not carry; None for one that was saved whole."""
    if "left_out" not in {row["name"] for row in store.rows(f"PRAGMA table_info({_SEAL})")}:
        return None
    row = store.row(f"SELECT left_out FROM {_SEAL}")
    try:
        told = json.loads(row["left_out"]) if row is not None and row["left_out"] else None
    except (ValueError, RecursionError, TypeError):
        return ("something that it does not name",)
    return tuple(str(one) for one in told) if isinstance(told, list) else None


def _digest(connection: sqlite3.Connection) -> str:
    """SHA-256 of all records, whatever the schema: each table by name, its rows by their row id."""
    found = hashlib.sha256()
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"
        " AND name NOT IN (?, '_sqlite_migrations') ORDER BY name",
        (_SEAL,),
    )
    for (table,) in tables.fetchall():
        found.update(repr(table).encode())
        quoted = table.replace('"', '""')
        for row in connection.execute(f'SELECT * FROM "{quoted}" ORDER BY rowid'):
            found.update(repr(tuple(row)).encode())
    return found.hexdigest()


def _refuse_open(source: Store, unit_name: str) -> None:
    row = source.row("SELECT run FROM open_runs_view WHERE unit = ?", (unit_name,))
    if row is not None:
        raise JournalError(
            f"run {row['run']} of unit {unit_name!r} is still open, and only this machine can judge it.",
            remedy="Finish the session first: `surefoot tune` judges an open run.",
        )


def _here(journal: Journal, bundle: Journal, named: str, wanted: str, given: bool) -> str | None:
    """The name of the bundle's very unit in this journal, None when it is not here yet.

    Raises BadInput when it is here and was to be loaded under another name, and when another machine has the name.
    """
    mine = mark(bundle.store, named)
    for row in journal.store.rows("SELECT name FROM units WHERE added_at = ?", (mine[0],)):
        there = str(row["name"])
        if mark(journal.store, there) != mine:
            continue
        if given and there != wanted:
            raise BadInput(
                f"this very unit is in the journal as {there!r}.",
                remedy="Load the bundle without --as, which adds what is new; or into another journal (SUREFOOT_HOME).",
            )
        return there
    try:
        journal.free_name(wanted)
    except BadInput as error:
        raise BadInput(error.what, remedy="It is another machine's. Load the bundle --as another name.") from None
    return None
