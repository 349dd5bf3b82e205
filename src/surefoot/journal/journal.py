"""The Journal: the only state of Surefoot."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from surefoot.errors import JournalError
from surefoot.journal.failures import NotWritable
from surefoot.journal.measures import MeasureRecords
from surefoot.journal.place import journal_path
from surefoot.journal.runs import RunRecords
from surefoot.journal.standing import StandingRecords
from surefoot.journal.store import Store
from surefoot.journal.thinning import ThinningRecords
from surefoot.journal.trace_codec import Column
from surefoot.journal.trials import TrialRecords

if TYPE_CHECKING:
    from sqlite_utils import Database


class Journal(RunRecords, ThinningRecords, MeasureRecords, StandingRecords, TrialRecords):
    """Everything that was recorded, in one SQLite file: append-only, written ahead, durable at every step.

    A method that writes has put its record on the disk when it returns, and has written nothing when it raises.
    Use it as a context manager or call `close`. Errors: JournalError when the file cannot be used, BadInput for a
    unit or run that is not there and for values out of range.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._writing: set[str] = set()
        self._packing: dict[int, dict[str, Column]] = {}

    @classmethod
    def open(cls, path: str | os.PathLike[str] | None = None, *, read_only: bool = False) -> Self:
        """Open the journal, created on first use and migrated forward when it is older.

        ``path``: its file or the folder of it; by default the data directory (`SUREFOOT_HOME`, or the user data
        directory). Raises JournalError for a file that is not a journal, is newer, damaged, locked or not writable;
        such a file is left as it was.
        """
        return cls(Store.open(journal_path(path), read_only=read_only))

    @classmethod
    def open_as_can(cls, tell: Callable[[str], object]) -> Self:
        """The journal of the data directory, for reading only when it is there but cannot be written.

        ``tell`` is told so.
        Raises JournalError as `open`.
        """
        try:
            return cls.open()
        except NotWritable as error:
            try:
                journal = cls.open(read_only=True)
            except JournalError:
                raise error from None
            tell(f"{journal.path}: {error.what.rstrip('.')}, so it is only read.")
            return journal

    @property
    def path(self) -> Path:
        """The journal's file."""
        return self._store.path

    @property
    def store(self) -> Store:
        """The open file behind it, for what belongs to the journal's own room."""
        return self._store

    @property
    def read_only(self) -> bool:
        """Whether it was opened for reading only."""
        return self._store.read_only

    @property
    def database(self) -> Database:
        """The file as a sqlite-utils database, for queries of one's own; the records cannot be changed there either."""
        from surefoot.journal.schema import wrapped

        return wrapped(self._store.connection)

    @contextmanager
    def together(self) -> Iterator[Self]:
        """Make everything written inside the block one step: all on disk when it ends, none if it raises.

        For many records that only make sense whole, such as a table of runs. Never around a load that is being held.
        """
        with self._store.transaction():
            yield self

    def faults(self) -> list[str]:
        """What a full check of the file finds wrong, in words; [] when it is well. Worth doing after a crash."""
        return self._store.faults()

    def close(self) -> None:
        """Close the file. Safe to call twice."""
        self._store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
