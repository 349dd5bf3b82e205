"""A copy of what a connection sees of a journal: one file, in one state, whole or not there."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from surefoot.journal.failures import damaged
from surefoot.journal.whole import workroom
from surefoot.whole_file import put


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
