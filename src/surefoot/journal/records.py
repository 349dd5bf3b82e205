"""What the journal gives back beside units, runs and traces."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from surefoot.runs import Reading, Score
from surefoot.units import Setting, Unit

CardEvent = Literal["add", "revise", "retire", "restore"]


@dataclass(frozen=True)
class CardEntry:
    """One entry of a unit's card history. ``unit``: the card as written then; None for `retire` and `restore`."""

    id: int
    at: datetime
    event: CardEvent
    unit: Unit | None


@dataclass(frozen=True)
class UnitLine:
    """A unit in a list. ``last_run_at``: when its latest run was opened; ``open_run``: its id, or None."""

    name: str
    knobs: tuple[str, ...]
    runs: int
    last_run_at: datetime | None
    open_run: int | None
    card_at: datetime
    retired: bool


@dataclass(frozen=True)
class Consent:
    """That the user agreed to the cautions for a unit: the text agreed to and when."""

    unit_name: str
    text: str
    at: datetime


@dataclass(frozen=True)
class ScoreEntry:
    """A score with what it belongs to: a run, a configuration of the unit, or the unit alone."""

    id: int
    unit_name: str
    run_id: int | None
    configuration: str | None
    score: Score
    at: datetime


@dataclass(frozen=True)
class ReadingEntry:
    """An instrument reading with what it belongs to. ``at``: when it was written down."""

    id: int
    unit_name: str
    run_id: int | None
    configuration: str | None
    reading: Reading
    at: datetime


@dataclass(frozen=True)
class ForecastEntry:
    """A forecast made for a unit, kept to be judged later."""

    id: int
    unit_name: str
    run_id: int | None
    at: datetime
    forecast: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Standing:
    """A setting that may stand applied: since when, under which boot, and why. Stock, once the way back worked."""

    setting: Setting
    why: str
    boot_id: str | None
    at: datetime


@dataclass(frozen=True)
class FoundEntry:
    """Absolute values by name of the interface, as they were found under a boot before the first change of it."""

    values: dict[str, float]
    boot_id: str
    at: datetime


@dataclass(frozen=True)
class TrialEntry:
    """A trial: its number, its plan as written down, and why no run of it is to come, None while one is."""

    number: int
    unit_name: str
    at: datetime
    plan: dict[str, Any]
    ended: str | None


@dataclass(frozen=True)
class ExceptionEntry:
    """A setting that was applied against a rule of the search, because the user said so."""

    setting: Setting
    rule: str
    at: datetime
