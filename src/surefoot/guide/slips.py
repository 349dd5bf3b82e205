"""What looks like a slip of the hand in a run that somebody tells: asked where there is somebody, refused where not.

A run that was held by the tool is seen as it happens; one that is told is only as true as the line that was typed. So
each is laid beside the card and beside everything else that is known before it may become evidence.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from surefoot.guide.outside import Told
from surefoot.runs import Outcome, Run
from surefoot.search import Goal
from surefoot.search.joint_goal import goal_in_unit
from surefoot.units import Conditions, Knob, Setting, Unit

FAR_STRIDES: Final = 2.5
"""A value is far past what ever held from so many strides on, the stride being what the search allows itself."""
LONG_MINUTES: Final = 24 * 60.0
DAY_MINUTES: Final = 24 * 60.0
LONG_ROWS: Final = 3
"""From so many runs on that lasted longer than there was time, no length of the table is taken unasked."""
CLOCK_LEEWAY: Final = timedelta(minutes=5)
RUNG_MINUTES: Final = 60.0
"""Where half of all holds that are told last longer than this, their numbers may be of another unit of time: a rung is
held for minutes, the soak at the end for hours (common practice, no source)."""
THE_RUN: Final = "the run"
"""How one that was told by itself, and not in a table, is spoken of."""
TYPED_TWICE: Final = timedelta(minutes=10)
"""Within this a short run told without a date, and told again in the same words, is the same one."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """A run as a slip is judged by: of the journal, or told beside the one in question.

    ``clocked``: ``at`` is when it was, and not the moment at which it was told; ``bare_length``: see `Told`.
    """

    setting: Setting
    outcome: Outcome
    minutes: float
    load: str
    at: datetime | None
    whole_day: bool
    conditions: Conditions
    words: str
    by_hand: bool
    clocked: bool
    bare_length: bool


def slips(unit: Unit, runs: Sequence[Told], before: Iterable[Run], now: datetime) -> list[tuple[str, ...]]:
    """For each run told, in words, everything about it that looks like a slip; () for one that is to be taken.

    ``before``: the runs of the journal. What was not sure in the wording of a row comes first.
    """
    known = [_of_run(run) for run in before if run.closing is not None]
    fresh = [_of_told(one) for one in runs]
    found = []
    times = _Times(known + fresh, now)
    long = [times.too_long(seen) for seen in fresh]
    # Several that lasted longer than there was time: the whole column is likely to be in another unit of time.
    column = f"{sum(map(bool, long))} other runs lasted longer than there was time: are these minutes?"
    held = [seen.outcome is Outcome.HELD for seen in fresh]
    if sum(map(bool, long)) >= LONG_ROWS:
        long = [said or (column if hold else "") for said, hold in zip(long, held, strict=True)]
    elif column := _all_long(known, fresh):
        long = [
            said or (column if seen.bare_length and hold and seen.minutes > RUNG_MINUTES else "")
            for said, hold, seen in zip(long, held, fresh, strict=True)
        ]
    for place, (one, seen) in enumerate(zip(runs, fresh, strict=True)):
        others = known + fresh[:place] + fresh[place + 1 :]
        said = [
            *one.doubts,
            *_values(unit, seen, known + fresh),
            *_moment(one, now),
            *([long[place]] if long[place] else []),
            *_contradicted(unit, seen, others),
            *_twice(seen, known + fresh[:place], now),
        ]
        found.append(tuple(said))
    return found


def _of_told(one: Told) -> _Seen:
    plan, closing = one.plan, one.closing
    return _Seen(
        plan.setting,
        closing.outcome,
        closing.minutes,
        plan.load,
        one.at,
        one.whole_day,
        plan.conditions,
        one.place,
        True,
        one.at is not None,
        one.bare_length,
    )


def _of_run(run: Run) -> _Seen:
    assert run.outcome is not None
    by_hand = run.plan.source == "hand"
    return _Seen(
        run.setting, run.outcome, run.minutes, run.plan.load, run.opened_at, False, run.plan.conditions,
        f"run {run.id}", by_hand, not by_hand, False,
    )  # fmt: skip


def _values(unit: Unit, seen: _Seen, all_runs: Sequence[_Seen]) -> list[str]:
    found = []
    for knob in unit.knobs:
        depth = _depth(knob, seen.setting)
        if depth > knob.limit * (1 + 1e-9):
            found.append(f"{knob.name} {knob.describe(depth)} is past the card's limit of {knob.describe(knob.limit)}")
        elif knob.linked_to is None:
            reach, far = _reach(knob, all_runs), FAR_STRIDES * goal_in_unit(knob, Goal()).max_stride
            # Where nothing off stock ever held there is nothing to lay a failure beside; it can only make a claim
            # shallower. Beside runs that held, one told far too deep would hide where it really failed.
            if depth > reach + far and (seen.outcome is Outcome.HELD or reach > 0):
                held = f"what ever held ({knob.describe(reach)})"
                found.append(f"{knob.name} {knob.describe(depth)} is far past {held}")
        # Volts among millivolts. A failure at next to nothing makes no claim deeper.
        if 0 < depth < knob.step / 2 and seen.outcome is Outcome.HELD and knob.linked_to is None:
            what = f"less than half a step of {knob.step:g} {knob.unit}"
            found.append(f"{knob.name} {knob.describe(depth)} is {what}: another unit of measure?")
    if seen.minutes > LONG_MINUTES:
        found.append(f"{seen.minutes:g} minutes are {seen.minutes / 60:.0f} hours")
    return found


def _all_long(known: Sequence[_Seen], fresh: Sequence[_Seen]) -> str:
    """That the holds are so long that their numbers may be no minutes, in words, or "".

    Without dates nothing in a table tells minutes from seconds, but for this: a table of seconds read as minutes makes
    every rung an hours' soak. One told by itself is asked about until as many that were stand in the journal.
    """
    told = [one for one in known if one.by_hand and one.outcome is Outcome.HELD]
    if fresh and fresh[0].words == THE_RUN and sum(one.minutes > RUNG_MINUTES for one in told) >= LONG_ROWS:
        return ""
    bare = [one for one in fresh if one.outcome is Outcome.HELD and one.bare_length]
    lengths = sorted(one.minutes for one in (*told, *bare))
    if not bare or len(lengths) < LONG_ROWS or lengths[(len(lengths) - 1) // 2] <= RUNG_MINUTES:
        return ""
    return f"with the others it held {sum(lengths) / 60:.0f} hours in all, half of them over an hour each: minutes?"


def _reach(knob: Knob, runs: Sequence[_Seen]) -> float:
    """The deepest that held and that was come to from stock by strides, so that a slip does not vouch for its like."""
    far = FAR_STRIDES * goal_in_unit(knob, Goal()).max_stride
    reach = 0.0
    for depth in sorted(_depth(knob, run.setting) for run in runs if run.outcome is Outcome.HELD):
        if depth > reach + far or depth > knob.limit * (1 + 1e-9):
            break
        reach = max(reach, depth)
    return reach


def _depth(knob: Knob, setting: Setting) -> float:
    # A run under an older card may stand on the other side of stock: it says nothing of this knob.
    return max(0.0, knob.sign * setting.value(knob.name))


def _moment(one: Told, now: datetime) -> list[str]:
    if one.at is None:
        return []
    if one.at > now + CLOCK_LEEWAY:
        return [f"its date, {one.at.astimezone():%Y-%m-%d %H:%M}, is still to come"]
    return []


class _Times:
    """When the machine was at work, as far as is known: a unit runs one load at a time."""

    def __init__(self, seen: Iterable[_Seen], now: datetime) -> None:
        known = [(one.at, one) for one in seen if one.at is not None and one.clocked]
        self._now = now
        self._moments = sorted({at for at, one in known if not one.whole_day})
        self._days: defaultdict[date, float] = defaultdict(float)
        for at, one in known:
            if one.whole_day and one.outcome is Outcome.HELD:
                self._days[at.astimezone().date()] += one.minutes

    def too_long(self, seen: _Seen) -> str:
        """A hold for longer than there was time, in words, or "".

        A date may say when a run began or when it was written down, so both ways must fail.
        """
        if seen.outcome is not Outcome.HELD or seen.at is None or not seen.clocked:
            return ""
        if seen.whole_day:
            total = self._days[day := seen.at.astimezone().date()]
            return f"the runs of {day:%Y-%m-%d} come to {total / 60:.0f} hours" if total > DAY_MINUTES else ""
        place = bisect_left(self._moments, seen.at)
        later = self._moments[place + 1] if place + 1 < len(self._moments) else max(self._now, seen.at)
        earlier = self._moments[place - 1] if place else None
        taken = timedelta(minutes=seen.minutes) - CLOCK_LEEWAY
        after = later - seen.at
        if taken <= after or earlier is None or taken <= seen.at - earlier:
            return ""
        return f"it lasted {seen.minutes:g} min, and the next run began {after.total_seconds() / 60:.0f} min later"


def _contradicted(unit: Unit, seen: _Seen, others: Sequence[_Seen]) -> list[str]:
    """A hold, deeper in every part than a setting that failed."""
    if seen.outcome is not Outcome.HELD:
        return []
    for other in others:
        if _failed(unit, other) and _deeper(unit, seen.setting, other.setting) and _alike(seen, other):
            shallower = other.setting.describe(unit)
            return [f"it held deeper than {shallower}, which failed ({other.words}, {other.outcome.value})"]
    return []


def _failed(unit: Unit, run: _Seen) -> bool:
    moved = [knob for knob in unit.knobs if run.setting.value(knob.name)] or list(unit.knobs)
    return any(run.outcome.verdict(knob) for knob in moved)


def _deeper(unit: Unit, one: Setting, other: Setting) -> bool:
    pairs = [(_depth(knob, one), _depth(knob, other)) for knob in unit.leaders()]
    return all(deep >= shallow for deep, shallow in pairs) and any(deep > shallow for deep, shallow in pairs)


def _alike(one: _Seen, other: _Seen) -> bool:
    """Whether no firmware or driver came between the two, as far as is known."""
    pairs = [(getattr(one.conditions, name), getattr(other.conditions, name)) for name in ("firmware", "driver")]
    return all(here is None or there is None or here == there for here, there in pairs)


def _twice(seen: _Seen, earlier: Sequence[_Seen], now: datetime) -> list[str]:
    """The same run told again: the same in everything, and at a time when the machine was taken by the first.

    Failures typed one by one are as many as were typed: three resets in a row are three, and make no claim deeper.
    """
    if seen.outcome is not Outcome.HELD and seen.words == THE_RUN:
        return []
    for other in earlier:
        same = (seen.setting, seen.outcome, seen.load) == (other.setting, other.outcome, other.load)
        if same and other.by_hand and abs(seen.minutes - other.minutes) < 0.01 and _at_once(seen, other, now):
            return [f"it is the same as {other.words}, told twice"]
    return []


def _at_once(seen: _Seen, other: _Seen, now: datetime) -> bool:
    in_table = seen.words != THE_RUN
    if in_table and (seen.at is None or other.at is None):
        return True
    here, there = seen.at or now, other.at or now
    if seen.whole_day or other.whole_day:
        return here.astimezone().date() == there.astimezone().date()
    taken = timedelta(minutes=seen.minutes)
    return abs(here - there) < (taken if seen.at is not None else max(taken, TYPED_TWICE)) or here == there
