"""Runs that were made without the tool: one told on the command line, or those of a hand-kept table."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from surefoot.errors import BadInput
from surefoot.logs.hand_dates import DateRead, read_date
from surefoot.logs.hand_minutes import read_minutes
from surefoot.logs.hand_outcomes import read_outcome
from surefoot.logs.hand_table import HandRow
from surefoot.logs.hand_values import read_value
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Conditions, Knob, Setting, Unit, validated

UNKNOWN_LOAD: Final = "unknown"
LONGEST_MINUTES: Final = 60.0 * 24 * 366

CardAt = Callable[[datetime], Unit | None]
"""The card of a unit as it was at a moment; None before there was one."""


@dataclass(frozen=True, slots=True)
class Told:
    """A run made elsewhere, ready to be logged. ``at``: when it began, None when nothing says so; ``whole_day``: only
    the day is known; ``line``: where it stands in a table; ``doubts``: what about its wording is not sure;
    ``bare_length``: its minutes were a number alone, without their unit beside it."""

    plan: RunPlan
    closing: Closing
    at: datetime | None
    whole_day: bool = False
    line: int | None = None
    doubts: tuple[str, ...] = ()
    bare_length: bool = False

    @property
    def place(self) -> str:
        """Where it was told, in words."""
        return "the run" if self.line is None else f"line {self.line}"


def told(
    unit: Unit,
    values: Mapping[str, float],
    outcome: Outcome,
    minutes: float,
    *,
    then: Unit | None,
    load: str = UNKNOWN_LOAD,
    at: datetime | None = None,
    whole_day: bool = False,
    note: str = "",
    ambient_celsius: float | None = None,
    power_mode: str | None = None,
    timed: bool = True,
    line: int | None = None,
    doubts: tuple[str, ...] = (),
    bare_length: bool = False,
    judged_by: str = "told by the user",
) -> Told:
    """A run that the user tells of. Linked knobs that are not named move with their leader.

    ``then``: the card as it was when the run was made, for its firmware, cooling and supply; None when that is not
    known, and then nothing is stamped on it. Raises BadInput for an unknown knob, a value above stock or on the wrong
    side, or minutes that cannot be.
    """
    where = "the run" if line is None else f"line {line}"
    if not 0 <= minutes <= LONGEST_MINUTES:
        raise BadInput(f"{minutes:g} minutes cannot be.", where=where)
    setting = setting_told(unit, values)
    plan = RunPlan(
        unit_name=unit.name,
        setting=setting,
        load=load or UNKNOWN_LOAD,
        planned_minutes=minutes,
        purpose="log",
        source="hand",
        note=note,
        conditions=conditions_then(then, ambient_celsius, power_mode, where),
    )
    closing = Closing(outcome=outcome, minutes=minutes, judged_by=judged_by, timed=timed)
    return Told(plan, closing, at, whole_day, line, doubts, bare_length)


def setting_told(unit: Unit, values: Mapping[str, float]) -> Setting:
    """The setting that values mean, linked knobs moved along. Raises BadInput for one that no run can have had."""
    followed = {
        follower.name: follower.value_at(min(unit.knob(name).depth_of(value), follower.deepest))
        for name, value in values.items()
        for follower in unit.followers(unit.knob(name).name)
        if follower.name not in values
    }
    setting = Setting(values={**values, **followed})
    unit.depths(setting)
    return setting


def conditions_then(then: Unit | None, ambient_celsius: float | None, power_mode: str | None, where: str) -> Conditions:
    """What was told of the conditions, and what the card said at the time."""
    card = {name: getattr(then, name) if then else None for name in ("cooling", "supply", "firmware", "driver")}
    mode = power_mode or (then.power_mode if then else None)
    return validated(Conditions, {**card, "ambient_celsius": ambient_celsius, "power_mode": mode}, where)


def rows_told(unit: Unit, rows: Sequence[HandRow], card_at: CardAt) -> tuple[list[Told], list[str]]:
    """The runs of a table's rows and, in words, what no run can be, with its line.

    A row without a date takes nothing from the card: when it was made is not known.
    """
    found: list[Told] = []
    problems: list[str] = []
    for row in rows:
        at = _in_utc(row.when)
        try:
            one = told(
                unit,
                row.values,
                row.outcome,
                row.minutes,
                then=card_at(at) if at else None,
                load=row.load,
                at=at,
                whole_day=row.whole_day,
                note=row.note,
                ambient_celsius=row.ambient_celsius,
                power_mode=row.mode,
                # A hand-kept table says how long the run was given, seldom the moment it failed.
                timed=row.outcome is Outcome.HELD,
                line=row.line,
                doubts=row.doubts,
                bare_length=row.bare_length,
            )
        except BadInput as error:
            said = error.message()
            problems.append(said if said.startswith(f"line {row.line}:") else f"line {row.line}: {said}")
        else:
            found.append(one)
    return found, problems


def outcome_named(text: str) -> Outcome:
    """The outcome that a word means. Raises BadInput naming those there are, also for one that leaves doubt."""
    read = read_outcome(text)
    if read.outcome is None or not read.sure:
        allowed = ", ".join(outcome.value for outcome in Outcome)
        what = f"{text!r} may mean {read.outcome.value}, but {read.why}" if read.outcome else f"{text!r} is no outcome"
        raise BadInput(f"{what}.", where="--outcome", remedy=f"Write one of: {allowed}.")
    return read.outcome


def minutes_named(text: str) -> float:
    """Minutes from what was typed: a number, or with its unit, such as 2h. Raises BadInput for what may be either."""
    read = read_minutes(text, "minutes")
    if read.minutes is None or not read.sure:
        raise BadInput(
            f"{read.why}.", where="--minutes", remedy="Write minutes as a number, or with a unit: 90, 1.5 h."
        )
    return read.minutes


def length_is_bare(text: str) -> bool:
    """Whether a length of time was typed as a number alone, without its unit."""
    return read_minutes(text, "minutes").bare


def values_of(unit: Unit, texts: Mapping[str, str]) -> dict[str, float]:
    """Signed offsets by knob from what was typed. Raises BadInput for an unknown knob or a value that cannot be."""
    return {name: _value(unit.knob(name), text) for name, text in texts.items()}


def moment_of(text: str, where: str, day_first: bool | None = None) -> datetime | None:
    """A date and time as people write it, in local time when it names no zone; None for an empty text.

    Raises BadInput for what is no date, or may be two.
    """
    return _in_utc(date_of(text, where, day_first).moment)


def date_of(text: str, where: str, day_first: bool | None = None) -> DateRead:
    """As `moment_of`, as it was read: with whether only a day was written."""
    read = read_date(text, day_first)
    if not read.sure:
        raise BadInput(f"{read.why}.", where=where, remedy="Write it as 2026-11-25 or 2026-11-25 14:30.")
    return read


def _in_utc(moment: datetime | None) -> datetime | None:
    # A moment without a zone is taken in this computer's own.
    return None if moment is None else moment.astimezone(UTC)


def _value(knob: Knob, text: str) -> float:
    read = read_value(knob, text)
    if read.value is None:
        meant = "" if read.meant is None else f"Write {read.meant:+g} if that is meant; allowed: "
        remedy = f"{meant or 'Allowed: '}from 0 to {knob.value_at(knob.limit):+g} {knob.unit}."
        raise BadInput(f"{read.why}.", where=f"knob {knob.name!r}", remedy=remedy)
    return read.value
