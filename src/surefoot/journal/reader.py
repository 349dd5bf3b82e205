"""What may be read of a journal: what a room is given that shows what is there and writes nothing."""

from __future__ import annotations

import os
from typing import Protocol

from surefoot.journal.records import ReadingEntry, ScoreEntry, TrialEntry
from surefoot.runs import Run, Trace
from surefoot.units import Unit


class JournalReader(Protocol):
    """The reading half of `Journal`, so that the type checker sees a report that would write."""

    def unit(self, name: str) -> Unit:
        """The card of a unit. Raises BadInput for one that is not there."""

    def identity(self, unit_name: str) -> str:
        """What two copies of a unit share: when it was entered, and its first card."""

    def units(self, retired: bool = False) -> list[Unit]:
        """The cards of all units."""

    def runs(self, unit_name: str) -> list[Run]:
        """All runs of a unit, oldest first, as they stand corrected."""

    def has_trace(self, run_id: int) -> bool:
        """Whether samples of a run are kept."""

    def trace(self, run_id: int) -> Trace:
        """The samples of a run."""

    def scores(self, unit_name: str) -> list[ScoreEntry]:
        """All scores of a unit, in the order they were written."""

    def readings(self, unit_name: str) -> list[ReadingEntry]:
        """All readings of a unit, in the order they were written."""

    def trials(self, unit_name: str) -> list[TrialEntry]:
        """All trials of a unit, oldest first."""

    def configuration_names(self, unit_name: str) -> dict[str, tuple[str, int]]:
        """Name and rank of each named configuration of a unit, by its key."""

    def close(self) -> None:
        """Close the file. Safe to call twice."""


def open_to_read(path: str | os.PathLike[str] | None = None) -> JournalReader:
    """Open a journal for reading only; ``path`` as in `Journal.open`. Raises JournalError as that does."""
    from surefoot.journal.journal import Journal

    return Journal.open(path, read_only=True)
