"""A consistent copy of a journal, also while a session writes it: one file, whole or not there."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from surefoot.errors import BadInput, JournalError
from surefoot.journal.failures import damaged, translated
from surefoot.journal.whole import put, workroom


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A copy that was made: where, of how many bytes, with how many runs."""

    path: Path
    bytes: int
    runs: int


def copy_journal(source: sqlite3.Connection, home: Path, target: Path, *, overwrite: bool) -> BackedUp:
    """Copy what a connection sees into a file of its own, in one state, whatever is written meanwhile.

    ``home``: the folder of the journal, for the file in the making. Raises JournalError when the copy is not well or
    cannot be written; then there is none.
    """
    with workroom(home) as room:
        made = room / "copy.sqlite"
        with closing(sqlite3.connect(made, isolation_level=None)) as copy:
            # All pages in one step: a copy in several would start anew whenever the session writes.
            source.backup(copy, pages=-1)
            copy.execute("PRAGMA journal_mode = DELETE").fetchall()
            said = copy.execute("PRAGMA quick_check(1)").fetchone()[0]
            if said != "ok":
                raise damaged(target, f"its copy: {said}")
            runs = copy.execute("SELECT count(*) FROM runs").fetchone()[0]
        put(made, target, overwrite=overwrite)
        return BackedUp(target, target.stat().st_size, int(runs))


def back_up(journal: Path, target: str | os.PathLike[str], *, overwrite: bool = False) -> BackedUp:
    """Copy a journal, whether or not a session is writing it. The copy is a journal too and can take its place.

    Raises BadInput for a target that is there (unless ``overwrite``) or cannot be, JournalError for a journal that is
    not there, not a journal, or damaged.
    """
    from surefoot.journal.store import connect_read_only, inspect

    to = Path(target).expanduser()
    if to.is_dir():
        to = to / f"{journal.stem}-backup.sqlite"
    if to.exists() and to.resolve() == journal.resolve():
        raise BadInput("this is the journal itself.", where=str(to))
    if to.exists() and not overwrite:
        raise BadInput("there is a file of that name.", where=str(to), remedy="Choose another, or give --force.")
    if not to.parent.is_dir():
        raise BadInput("there is no such folder.", where=str(to.parent))
    with translated(journal):
        if not journal.is_file() or inspect(journal) == 0:
            raise JournalError("there is no journal here yet.", where=str(journal))
        with closing(connect_read_only(journal)) as source, translated(to):
            return copy_journal(source, journal.parent, to, overwrite=overwrite)
