"""Where it is kept: one append-only SQLite file, written ahead and durable at every acknowledged step."""

from surefoot.journal.journal import Journal
from surefoot.journal.place import home, journal_path
from surefoot.journal.records import CardEntry, Consent, ForecastEntry, ReadingEntry, ScoreEntry, UnitLine

__all__ = [
    "CardEntry",
    "Consent",
    "ForecastEntry",
    "Journal",
    "ReadingEntry",
    "ScoreEntry",
    "UnitLine",
    "home",
    "journal_path",
]
