"""The configurations of a unit, as its records say; grouped by `scores.configurations`."""

from __future__ import annotations

from surefoot.journal.reader import JournalReader
from surefoot.journal.records import ReadingEntry, ScoreEntry
from surefoot.runs import Run
from surefoot.scores.configurations import Configuration, of_records
from surefoot.units import Unit


def list_configurations(journal: JournalReader, unit: Unit | str) -> list[Configuration]:
    """The configurations of a unit with the runs that stand for them, in the user's order; reads no trace."""
    return measured_and_configured(journal, unit)[1]


def measured_and_configured(journal: JournalReader, unit: Unit | str) -> tuple[list[Run], list[Configuration]]:
    """The runs that stand for a configuration, and the configurations: grouped, named, or with something tied to."""
    card = journal.unit(unit) if isinstance(unit, str) else unit
    entries: list[ScoreEntry | ReadingEntry] = [*journal.scores(card.name), *journal.readings(card.name)]
    return of_records(
        journal.runs(card.name),
        journal.configuration_names(card.name),
        card,
        touched={entry.run_id for entry in entries if entry.run_id is not None},
        tied=[entry.configuration for entry in entries if entry.configuration and entry.run_id is None],
    )
