"""Which traces may be thinned, and thinning them with nobody writing meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from surefoot.journal import Journal
from surefoot.journal.thinning import Thinning


@dataclass(frozen=True)
class ToThin:
    """A run, its samples now, and how many would stay."""

    unit: str
    run_id: int
    samples_before: int
    samples_after: int


def to_thin(
    journal: Journal, units: Sequence[str], every_seconds: float, *, older_days: float, now: datetime | None = None
) -> list[ToThin]:
    """The closed runs of the units that began so many days ago and would lose samples. Raises BadInput for an unknown
    unit."""
    since = (now or datetime.now(UTC)) - timedelta(days=older_days)
    found = []
    for name in dict.fromkeys(units):
        traced = journal.runs_with_trace(name)
        for run in journal.runs(name):
            if run.id not in traced or run.is_open or run.opened_at > since:
                continue
            before, after = journal.would_thin(run.id, every_seconds)
            if after < before:
                found.append(ToThin(name, run.id, before, after))
    return found


def thin_runs(journal: Journal, planned: Sequence[ToThin], every_seconds: float, *, who: str) -> list[Thinning]:
    """Thin them, one run whole at a time. Raises JournalError where somebody writes a unit's runs now."""
    done: list[Thinning] = []
    for name in dict.fromkeys(one.unit for one in planned):
        with journal.writer(name):
            mine = [journal.thin_trace(one.run_id, every_seconds, who=who) for one in planned if one.unit == name]
        done += [made for made in mine if made is not None]
    return done


def samples(found: Sequence[ToThin] | Sequence[Thinning]) -> tuple[int, int]:
    """Samples before and after, over all of them."""
    return sum(one.samples_before for one in found), sum(one.samples_after for one in found)
