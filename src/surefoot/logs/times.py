"""Which columns tell the time, and the seconds they stand for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import MAXYEAR, MINYEAR, UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import BadInput
from surefoot.logs import words
from surefoot.logs.cells import as_cells
from surefoot.logs.measures import measure
from surefoot.logs.numbers import Decimal, as_number, is_missing
from surefoot.logs.problems import Ledger
from surefoot.logs.stamps import DAY, Stamps, match_stamp, read_stamps
from surefoot.runs import Floats

_EPOCHS = ((9e8, 4.2e9, 1.0, "s"), (9e11, 4.2e12, 1e-3, "ms"), (9e14, 4.2e15, 1e-6, "µs"), (9e17, 4.2e18, 1e-9, "ns"))
_SERIAL = (25569.0, 73050.0)  # days since 1899-12-30, as spreadsheets count; 25569 is 1970-01-01
_UNIT_SECONDS = {"s": 1.0, "ms": 1e-3, "µs": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True)
class TimeColumn:
    """A column that tells the time.

    ``kind``: ``stamp`` (date and time), ``date``, ``clock`` or ``dotted`` (time of day), ``hms`` (elapsed, as hours
    and minutes), ``epoch``, ``serial`` (spreadsheet days) or ``elapsed``; ``factor``: seconds for one.
    """

    index: int
    kind: str
    factor: float
    score: float
    how: str

    @property
    def is_text(self) -> bool:
        """Whether its cells must be read as text."""
        return self.kind in ("stamp", "date", "clock", "dotted", "hms")


@dataclass(frozen=True)
class Moments:
    """Times of the samples in the order of the file, shape (n,), NaN where unreadable.

    ``seconds``: since 1970 (local or UTC) when ``absolute``, else since anything; ``zoned``: they are UTC;
    ``of_day``: times without a date; ``step``: the finest step the stamps can tell, 0 when as fine as it gets.
    """

    seconds: Floats
    absolute: bool
    zoned: bool
    of_day: bool
    step: float


def classify(
    index: int, header: str, unit: str, cells: list[str], decimal: Decimal, forced: str = ""
) -> TimeColumn | None:
    """Whether a column tells the time, judged by its header and a sample of its cells, in the order of the file.

    ``forced``: ``time`` or ``date`` when the user says that it does.
    """
    text = words.plain(header)
    named = bool(words.TIME.search(text)) and not words.NOT_TIME.search(text)
    unit_found = measure(unit) if unit else None
    timed = unit_found is not None and unit_found.family == "time" and not words.NOT_TIME.search(text)
    if not named and not timed and not forced and not any(match_stamp(cell.strip()) for cell in cells[:8]):
        return None
    there = [cell.strip() for cell in cells if not is_missing(cell)]
    if not there:
        return None
    matches = [match_stamp(cell) for cell in there]
    good = [found for found in matches if found]
    if len(good) >= 0.7 * len(there):
        return _stamp_column(index, text, good, named or bool(forced))
    if words.NOT_TIME.search(text) and not forced:
        return None
    numbers = [as_number(cell, decimal) for cell in there]
    values = np.array([number.value if number else np.nan for number in numbers])
    if np.isfinite(values).mean() < 0.7:
        return None
    units = {number.measure for number in numbers if number and number.measure}
    in_cell = next(iter(units), None) if len(units) == 1 else None
    whole = all(cell.isdigit() for cell in there)
    return _number_column(index, text, values, unit_found or in_cell, named or timed, forced, whole)


def _stamp_column(index: int, text: str, good: list[Any], named: bool) -> TimeColumn | None:
    groups = [found.groupdict() for _, found in good]
    compact = all(form == "compact" and not group.get("H") for (form, _), group in zip(good, groups, strict=True))
    if compact and not named:
        return None
    dated = sum(bool(group.get("y")) for group in groups) > len(groups) / 2
    clocked = sum(bool(group.get("H") or group.get("S")) for group in groups) > len(groups) / 2
    dotted = all(form == "pq" and found["s"] == "." and len(found["y"]) == 2 for form, found in good)
    if dotted and not clocked and named and not words.DATE.search(text):
        # 10.15.30 under a header that says time and no date: hours, minutes and seconds set apart by points.
        return TimeColumn(index, "dotted", 1.0, 0.7, "time of day, set apart by points")
    if dated and clocked and len(groups) > 2 and all(_is_midnight(group) for group in groups):
        # A spreadsheet's date is written with a time of nought.
        return TimeColumn(index, "date", 1.0, 0.8 if named else 0.5, "date")
    if dated and clocked:
        return TimeColumn(index, "stamp", 1.0, 1.0, "date and time")
    if dated:
        return TimeColumn(index, "date", 1.0, 0.8 if named else 0.5, "date")
    first = good[0][1].groupdict()
    hours = [int(group.get("H") or 0) for group in groups]
    elapsed = bool(words.ELAPSED.search(text)) or max(hours) > 24 or bool(first.get("D"))
    two_part = all(not group.get("S") for group in groups)
    from_zero = not int(first.get("H") or 0) and not int(first.get("M") or 0)
    if two_part and (elapsed or from_zero):
        return TimeColumn(index, "hms", 1 / 60, 0.85 if named else 0.55, "elapsed time, minutes and seconds")
    if elapsed or not first.get("H"):
        return TimeColumn(index, "hms", 1.0, 0.85 if named else 0.55, "elapsed time")
    return TimeColumn(index, "clock", 1.0, 0.8 if named else 0.55, "time of day")


def _is_midnight(group: Mapping[str, str | None]) -> bool:
    return not any(int(group.get(part) or 0) for part in "HMSf")


def _number_column(
    index: int, text: str, values: Floats, unit: Any, named: bool, forced: str, whole: bool
) -> TimeColumn | None:
    there = values[np.isfinite(values)]
    steps = np.diff(there)
    rising = bool(steps.size == 0 or (steps >= 0).mean() > 0.8 or (steps <= 0).mean() > 0.95)
    if not named and not forced:
        return None
    if not rising and not forced:
        return None
    middle = float(np.median(there))
    for low, high, factor, name in _EPOCHS:
        if low <= middle <= high and low <= float(np.quantile(there, 0.1)):
            return TimeColumn(index, "epoch", factor, 0.95, f"{name} since 1970")
    size = np.abs(steps[steps != 0])
    step = float(np.median(size)) if size.size else 0.0
    even = bool(size.size) and float((np.abs(size - step) <= 1e-6 * step).mean()) > 0.9
    if unit is not None and unit.unit in _UNIT_SECONDS:
        return _told(index, unit.unit, step, even)
    fine = bool(steps.size) and float(np.median(np.abs(steps))) < 1.0
    if _SERIAL[0] <= middle <= _SERIAL[1] and fine and not words.ELAPSED.search(text):
        return TimeColumn(index, "serial", DAY, 0.7, "days as a spreadsheet counts them")
    for name, pattern in _NAMED:
        if pattern.search(text):
            return _told(index, name, step, even)
    return _by_rate(index, step, whole)


_NAMED = (
    ("ms", re.compile(r"\bms\b|milli")),
    ("min", re.compile(r"\bmin(?:utes?|uten)?\b|минут|分")),
    ("s", re.compile(r"\b(?:s|secs?|seconds?|sek\w*|secondes?|segundos?)\b|секунд|秒")),
    ("h", re.compile(r"\b(?:h|hours?|hrs?|stunden?|heures?|horas?)\b")),
)
# What loggers do (common practice, no source): a sample every 0.2 to 2.5 s mostly, every 0.01 to 20 s at all.
_MOSTLY = (0.19, 2.6)
_AT_ALL = (0.0101, 20.5)
_NAMES = {"s": "seconds", "ms": "milliseconds", "min": "minutes", "h": "hours", "µs": "microseconds"}


def _told(index: int, unit: str, step: float, even: bool) -> TimeColumn:
    """Elapsed time whose unit is written; doubted where no logger is that fast or slow, but is in another unit."""
    factor = _UNIT_SECONDS[unit]
    how = f"elapsed {unit}"
    # Frames may come every millisecond, but not evenly.
    if step and not (4e-3 if even else 3e-4) <= step * factor <= 900:
        others = [name for name, other in _UNIT_SECONDS.items() if _MOSTLY[0] <= step * other <= _MOSTLY[1]]
        if others:
            why = f"; a sample every {step * factor:g} s would be odd, is it in {_NAMES.get(others[0], others[0])}?"
            return TimeColumn(index, "elapsed", factor, 0.6, how + why)
    return TimeColumn(index, "elapsed", factor, 0.75, how)


def _by_rate(index: int, step: float, whole: bool) -> TimeColumn:
    """Elapsed time without a unit: by the rate at which samples would come. Asked about where two rates are likely."""
    mostly = [name for name, factor in _UNIT_SECONDS.items() if _MOSTLY[0] <= step * factor <= _MOSTLY[1]]
    at_all = [name for name, factor in _UNIT_SECONDS.items() if _AT_ALL[0] <= step * factor <= _AT_ALL[1]]
    likely = mostly or at_all or ["s"]
    best = likely[0]
    how = f"elapsed {_NAMES.get(best, best)}, by the rate of the samples"
    if whole and step == 1:
        # One a second or one a minute: both are common.
        return TimeColumn(index, "elapsed", 1.0, 0.6, f"{how}; it may be minutes, or the number of the sample")
    if len(at_all) == 1 and (mostly or best == "s"):
        return TimeColumn(index, "elapsed", _UNIT_SECONDS[best], 0.72, how)
    others = [name for name in at_all if name != best]
    also = f"; it may be {' or '.join(_NAMES.get(name, name) for name in others)}" if others else "; no unit is written"
    return TimeColumn(index, "elapsed", _UNIT_SECONDS[best], 0.6, how + also)


def choose(found: list[TimeColumn]) -> tuple[TimeColumn | None, TimeColumn | None, list[TimeColumn]]:
    """(main, date that goes with it or None, the other time columns). Date and time in two columns belong together."""

    def best(*kinds: str) -> TimeColumn | None:
        of_kind = [column for column in found if column.kind in kinds]
        return max(of_kind, key=lambda column: (column.score, -column.index), default=None)

    main = best("stamp") or best("epoch")
    date = None
    if main is None:
        clock, day = best("clock", "dotted"), best("date")
        if clock is not None and day is not None:
            main, date = clock, day
        else:
            candidates = [best("serial"), best("elapsed", "hms"), clock, day]
            there = [column for column in candidates if column is not None]
            main = max(there, key=lambda column: column.score, default=None)
    used = {column.index for column in (main, date) if column is not None}
    return main, date, [column for column in found if column.index not in used]


def read_moments(
    main: TimeColumn,
    date: TimeColumn | None,
    columns: Sequence[NDArray[Any]],
    decimal: Decimal,
    day_first: bool | None,
    ledger: Ledger,
) -> Moments:
    """The times of all samples, in the order of the file."""
    column = columns[main.index]
    if not main.is_text:
        values = as_cells(column, decimal).values
        seconds = values * main.factor
        if main.kind == "serial":
            seconds = (values - _SERIAL[0]) * DAY
            return Moments(np.round(seconds, 3), True, False, False, 0.0)
        step = main.factor if main.kind == "epoch" and main.factor == 1.0 and _whole(values) else 0.0
        return Moments(seconds, main.kind == "epoch", main.kind == "epoch", False, step)
    texts = _texts(column)
    if main.kind == "dotted":
        texts = np.char.replace(texts.astype(str), ".", ":").astype(object)
    stamps = read_stamps(texts, day_first)
    if main.kind == "hms":
        if main.factor != 1.0:
            return Moments(stamps.clock * main.factor, False, False, False, 1.0)
        return Moments(stamps.clock, False, False, False, stamps.step)
    if date is not None:
        days = read_stamps(_texts(columns[date.index]), day_first)
        _tell_order(days, ledger)
        stamps = replace(stamps, days=_filled(days.days))
    else:
        _tell_order(stamps, ledger)
    if main.kind == "date":
        return Moments(stamps.days * DAY, True, False, False, DAY)
    if np.isfinite(stamps.days).any():
        seconds = stamps.days * DAY + np.where(np.isfinite(stamps.clock), stamps.clock, np.nan)
        if main.kind == "stamp":
            # A stamp at midnight may be written as its date alone.
            seconds = stamps.days * DAY + np.where(np.isfinite(stamps.clock), stamps.clock, 0.0)
        zoned = bool(np.isfinite(stamps.zone).any())
        if zoned:
            seconds = seconds - np.where(np.isfinite(stamps.zone), stamps.zone, np.nanmedian(stamps.zone))
        return Moments(seconds, True, zoned, False, stamps.step)
    return Moments(stamps.clock, False, False, True, stamps.step)


def _whole(values: Floats) -> bool:
    there = values[np.isfinite(values)]
    return bool(np.all(there == np.round(there)))


def _texts(column: NDArray[Any]) -> NDArray[Any]:
    if column.dtype.kind in "SO":
        return column
    return np.array(["" if value != value else f"{value:g}" for value in column], dtype=object)


def _filled(days: Floats) -> Floats:
    """Days with the gaps filled from above: some loggers write the date once a page."""
    there = np.isfinite(days)
    if there.all() or not there.any():
        return days
    last = np.maximum.accumulate(np.where(there, np.arange(days.size), -1))
    return np.where(last >= 0, days[np.maximum(last, 0)], np.nan)


def _tell_order(stamps: Stamps, ledger: Ledger) -> None:
    if stamps.guessed:
        other = "m/d" if stamps.date_order == "d/m" else "d/m"
        ledger.note(
            f"the dates could be {stamps.date_order}/y or {other}/y and nothing in the file settles it; "
            f"{stamps.date_order}/y taken."
        )


_PREAMBLE_DATE = re.compile(
    r"(?<![0-9])(?:[0-9]{4}[-/.][0-9]{1,2}[-/.][0-9]{1,2}|[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{4}"
    r"|[0-9]{1,2}\.? [^\W0-9_]{3,9}\.? [0-9]{4}|[^\W0-9_]{3,9} [0-9]{1,2}, [0-9]{4})"
    r"(?:[T ,]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?(?:\s*[AaPp][Mm])?)?(?![0-9])"
)


def preamble_start(texts: list[str], day_first: bool | None) -> Stamps | None:
    """The first date, with its time where there is one, that the lines before the header name."""
    for text in texts:
        for found in _PREAMBLE_DATE.finditer(text.replace(";", " ").replace("\t", " ")):
            stamps = read_stamps(np.array([found.group(0).strip()], dtype=object), day_first)
            if np.isfinite(stamps.days[0]):
                return stamps
    return None


def to_utc(seconds: Floats, name: str, lines: NDArray[np.int64], ledger: Ledger) -> Floats:
    """Local times as UTC, shape (n,), by the rules of a time zone. Raises BadInput for a zone that is not known.

    Within the hour that comes twice, what stands before the step back is the first pass, what follows the second.
    """
    first, second = (_offsets(seconds, name, fold) for fold in (0, 1))
    twice = first > second
    pass_two = np.zeros(seconds.size, dtype=np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], twice, [False]]).astype(np.int8)))
    for start, end in zip(edges[0::2], edges[1::2], strict=True):
        run = seconds[start:end]
        back = np.flatnonzero(np.diff(run) < -1200)
        if back.size:
            pass_two[start + int(back[0]) + 1 : end] = True
        elif start == 0 or seconds[start] - seconds[start - 1] < -1200:
            # It begins inside the hour: if it runs on into the next hour, no second pass followed.
            runs_on = end < seconds.size and seconds[end] - seconds[end - 1] < 1200
            pass_two[start:end] = runs_on or start > 0
            if not runs_on and start == 0:
                ledger.note(f"line {int(lines[start])} is in the hour that comes twice; the first was taken.")
    return np.asarray(seconds - np.where(pass_two, second, first))


def _offsets(seconds: Floats, name: str, fold: int) -> Floats:
    from zoneinfo import ZoneInfo

    try:
        zone = ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise BadInput(f"{name!r} is not a time zone.", remedy="Give a name like Europe/Berlin or UTC.") from None
    quarters, places = np.unique(np.floor(seconds / 900.0), return_inverse=True)
    offsets = np.zeros(quarters.size)
    for place, quarter in enumerate(quarters):
        moment = _datetime(float(quarter) * 900.0)
        shift = moment.replace(tzinfo=zone, fold=fold).utcoffset() if moment is not None else None
        offsets[place] = shift.total_seconds() if shift is not None else 0.0
    return offsets[places]


def _datetime(seconds: float) -> datetime | None:
    try:
        return datetime(1970, 1, 1) + timedelta(seconds=seconds)
    except OverflowError:
        return None


def as_datetime(seconds: float, utc: bool) -> datetime | None:
    """Seconds since 1970 as a date and time: in UTC, or without a zone. None when out of the calendar.

    So are its first and last year: in another zone such a moment may have no date."""
    moment = _datetime(round(seconds, 6))
    if moment is not None and moment.year in (MINYEAR, MAXYEAR):
        return None
    return moment.replace(tzinfo=UTC) if moment is not None and utc else moment
