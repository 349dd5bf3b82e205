"""A consistent copy of a journal, also while a session writes it: one file, whole or not there."""

from __future__ import annotations

import os
from contextlib import closing
from pathlib import Path

from surefoot.errors import BadInput, JournalError
from surefoot.journal.copying import BackedUp, copy_journal
from surefoot.journal.failures import translated
from surefoot.journal.store import connect_read_only, inspect


def back_up(journal: Path, target: str | os.PathLike[str], *, overwrite: bool = False) -> BackedUp:
    """Copy a journal, whether or not a session is writing it. The copy is a journal too and can take its place.

    Raises BadInput for a target that is there (unless ``overwrite``) or cannot be, JournalError for a journal that is
    not there, not a journal, or damaged.
    """
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
