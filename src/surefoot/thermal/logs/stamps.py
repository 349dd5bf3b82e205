"""Dates and times of day in text, any common spelling, read in bulk by their shape."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats

DAY = 86400.0
_DAY_NAME = r"(?:[^\W\d_]{2,10}\.?,?\s+)?"
_TIME = (
    r"(?:(?P<D>\d{1,4})(?:\s?d(?:ays?)?,?\s+|\.|\s?d\s?))?"
    r"(?P<H>\d{1,5})[:h](?P<M>\d{2})(?:[:m](?P<S>\d{2})(?:s|[.,:](?P<f>\d{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
)
_CLOCK = (
    r"(?P<H>\d{1,2})[:h.](?P<M>\d{2})(?:[:m.](?P<S>\d{2})(?:s|[.,:](?P<f>\d{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
)
_COMPACT_CLOCK = r"(?P<H>\d{2})(?P<M>\d{2})(?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?"
_ZONE = r"(?:\s*(?P<z>Z|z|UTC|GMT|(?:UTC|GMT)?[+\-\u2212]\d{2}:?\d{2}|[+\-\u2212]\d{2})(?:\s*\[[\w/+\-]+\])?)?"
_DATES = {
    "ymd": r"(?P<y>\d{4})(?P<s>[-/.])(?P<m>\d{1,2})(?P=s)(?P<d>\d{1,2})\.?",
    "pq": r"(?P<p>\d{1,2})(?P<s>[-/.])(?P<q>\d{1,2})(?P=s)(?P<y>\d{4}|\d{2})",
    "compact": r"(?P<y>(?:19|20)\d{2})(?P<m>0[1-9]|1[0-2])(?P<d>[0-3]\d)",
    "dmon": r"(?P<d>\d{1,2})\.?[ \-/](?P<mon>[^\W\d_]{3,9})\.?[ \-/,]+(?P<y>\d{4}|\d{2})",
    "mond": r"(?P<mon>[^\W\d_]{3,9})\.?[ \-](?P<d>\d{1,2}),?[ \-](?P<y>\d{4})",
}
_MONTHS = {
    name: month
    for month, names in enumerate(
        (
            "jan january januar janvier enero ene janv",
            "feb february februar fevrier février febrero fev fév févr",
            "mar march märz maerz mars marzo mrz mär",
            "apr april avril abril abr avr",
            "may mai mayo",
            "jun june juni juin junio",
            "jul july juli juillet julio juil",
            "aug august août aout agosto ago aoû",
            "sep sept september septembre septiembre",
            "oct october oktober octobre octubre okt",
            "nov november novembre noviembre",
            "dec december dezember décembre decembre diciembre dez dic déc",
        ),
        start=1,
    )
    for name in names.split()
}
_FORMS: list[tuple[str, re.Pattern[str]]] = []
for _name, _date in _DATES.items():
    _FORMS.append((_name, re.compile(rf"^{_DAY_NAME}{_date}(?:(?:\s*[T_,;]\s*|\s+|:){_CLOCK}{_ZONE})?$")))
_FORMS.append(("compact", re.compile(rf"^{_DATES['compact']}[T_\- ]?{_COMPACT_CLOCK}{_ZONE}$")))
_FORMS.extend((_name, re.compile(rf"^{_CLOCK},?\s+{_DATES[_name]}$")) for _name in ("ymd", "pq", "dmon"))
_FORMS.append(("clock", re.compile(rf"^{_TIME}{_ZONE}$")))
_FORMS.append(("clock", re.compile(r"^(?P<M>\d{1,5}):(?P<S>\d{2})[.,](?P<f>\d{1,9})$")))
_WORDS = r"(?:(?P<H>\d{1,4})\s?h\s+)?(?:(?P<M>\d{1,5})\s?m(?:in)?\s+)(?P<S>\d{1,2})(?:[.,](?P<f>\d{1,9}))?\s?s"
_FORMS.append(("clock", re.compile(rf"^{_WORDS}$")))
_DIGITS = ("y", "m", "d", "p", "q", "D", "H", "M", "S", "f")
_SHAPES = 40


@dataclass(frozen=True)
class Stamps:
    """Cells of one column as dates and times, each array of shape (n,), NaN where the cell has no such part.

    ``days``: since 1970-01-01; ``clock``: seconds within the day (or a count of hours above 24); ``zone``: offset from
    UTC in seconds; ``date_order``: for dates written as two short numbers, ``d/m``, ``m/d``, and whether that was a
    guess; ``two_part``: the times have no seconds; ``step``: the finest step written, in seconds.
    """

    days: Floats
    clock: Floats
    zone: Floats
    date_order: str = ""
    guessed: bool = False
    two_part: bool = False
    twelve_hour: bool = False
    step: float = 1.0

    @property
    def readable(self) -> NDArray[np.bool_]:
        """Where a cell was understood."""
        return np.isfinite(self.days) | np.isfinite(self.clock)


def match_stamp(cell: str) -> tuple[str, re.Match[str]] | None:
    """The first form that a cell has, or None. Month names must be known ones."""
    if len(cell) > 48 or not cell or not any(char.isdigit() for char in cell):
        return None
    for name, pattern in _FORMS:
        found = pattern.match(cell)
        if found and (name not in ("dmon", "mond") or found["mon"].lower() in _MONTHS):
            return name, found
    return None


def is_stamp(cell: str) -> bool:
    """Whether a cell reads as a date, a time or both."""
    return match_stamp(cell.strip()) is not None


def read_stamps(cells: NDArray[np.object_], day_first: bool | None = None) -> Stamps:
    """Read a column of date or time texts, shape (n,) of str. Cells that are neither give NaN everywhere.

    Cells of one length are read together: the first one's digits tell where the others' are, and those that do not fit
    are tried as the next shape.
    """
    count = cells.size
    texts = np.array([str(cell).strip() for cell in cells], dtype=str) if count else np.zeros(0, dtype="<U1")
    parts = {name: np.full(count, np.nan) for name in (*_DIGITS, "z")}
    afternoon = np.zeros(count, dtype=np.int8)  # 1 am, 2 pm
    fraction_digits = 0
    separators: set[str] = set()
    width = max(1, texts.dtype.itemsize // 4)
    codes = np.ascontiguousarray(texts).view(np.uint32).reshape(count, width) if count else np.zeros((0, 1), np.uint32)
    lengths = (codes != 0).sum(axis=1)
    left = lengths > 0
    shapes = 0
    while shapes < _SHAPES:
        first = int(left.argmax()) if count else 0
        if not count or not left[first]:
            break
        shapes += 1
        found = match_stamp(str(texts[first]))
        if found is None:
            left[first] = False
            continue
        rows = np.flatnonzero(left & (lengths == lengths[first]))
        fits = _read_shape(codes, rows, found[1], parts, afternoon)
        left[fits] = False
        fraction_digits = max(fraction_digits, len(found[1].groupdict().get("f") or ""))
        separators.add(found[1].groupdict().get("s") or "")
    for index in np.flatnonzero(left):
        found = match_stamp(str(texts[index]))
        if found is not None:
            _read_shape(codes, np.array([index]), found[1], parts, afternoon)
    return _assembled(parts, afternoon, separators, fraction_digits, day_first)


def _read_shape(
    codes: NDArray[np.uint32],
    rows: NDArray[np.int64],
    example: re.Match[str],
    parts: dict[str, Floats],
    afternoon: NDArray[np.int8],
) -> NDArray[np.int64]:
    """Read the rows that have the example's shape; gives back their indices."""
    text = example.string
    sub = codes[rows, : len(text)]
    free = np.zeros(len(text), dtype=np.bool_)
    groups = example.groupdict()
    for name in _DIGITS:
        if groups.get(name):
            free[example.start(name) : example.end(name)] = True
    digit_places = np.flatnonzero(free)
    if groups.get("ap"):
        free[example.start("ap")] = True
    fixed = np.flatnonzero(~free)
    pattern = np.array([ord(char) for char in text], dtype=np.uint32)
    fits = (sub[:, fixed] == pattern[fixed]).all(axis=1)
    digits = sub[:, digit_places]
    fits &= ((digits >= 48) & (digits <= 57)).all(axis=1)
    if groups.get("ap"):
        letter = sub[:, example.start("ap")] | 32
        fits &= (letter == ord("a")) | (letter == ord("p"))
    chosen = rows[fits]
    kept = sub[fits].astype(np.float64) - 48.0
    for name in _DIGITS:
        if groups.get(name):
            start, end = example.span(name)
            powers = 10.0 ** np.arange(end - start - 1, -1, -1)
            values = kept[:, start:end] @ powers
            parts[name][chosen] = values / 10.0 ** (end - start) if name == "f" else values
            if name == "y" and end - start == 2:
                parts[name][chosen] = values + np.where(values < 70, 2000, 1900)
    if groups.get("mon"):
        parts["m"][chosen] = _MONTHS[groups["mon"].lower()]
    if groups.get("ap"):
        letter = sub[fits][:, example.start("ap")] | 32
        afternoon[chosen] = np.where(letter == ord("a"), 1, 2)
    if groups.get("z"):
        parts["z"][chosen] = _zone_seconds(groups["z"])
    return chosen


def _zone_seconds(text: str) -> float:
    plain = text.upper().replace("UTC", "").replace("GMT", "").replace("\u2212", "-").replace(":", "")
    if plain in ("", "Z"):
        return 0.0
    sign = -1.0 if plain[0] == "-" else 1.0
    digits = plain.lstrip("+-")
    return sign * (int(digits[:2]) * 3600.0 + (int(digits[2:4]) * 60.0 if len(digits) >= 4 else 0.0))


def _assembled(
    parts: dict[str, Floats],
    afternoon: NDArray[np.int8],
    separators: set[str],
    fraction_digits: int,
    day_first: bool | None,
) -> Stamps:
    year, month, day = parts["y"], parts["m"], parts["d"]
    order, guessed = "", False
    short = np.isfinite(parts["p"])
    if short.any():
        first, second = parts["p"][short], parts["q"][short]
        order, guessed = _date_order(first, second, year[short], separators, bool((afternoon > 0).any()), day_first)
        if order == "y-m-d":
            day[short] = year[short] - 2000
            year[short], month[short] = 2000 + first, second
        else:
            day[short], month[short] = (first, second) if order == "d/m" else (second, first)
    days = _days(year, month, day)
    hours, minutes, seconds = parts["H"], parts["M"], parts["S"]
    hours = np.where(afternoon == 1, np.where(hours == 12, 0, hours), hours)
    hours = np.where(afternoon == 2, np.where(hours < 12, hours + 12, hours), hours)
    clock = np.where(np.isfinite(hours), hours, 0.0) * 3600.0 + minutes * 60.0
    clock += np.where(np.isfinite(seconds), seconds, 0.0) + np.where(np.isfinite(parts["f"]), parts["f"], 0.0)
    clock += np.where(np.isfinite(parts["D"]), parts["D"], 0.0) * DAY
    dated = np.isfinite(days)
    wrong = (np.isfinite(hours) & (minutes > 59)) | (seconds > 60) | (dated & (hours > 24))
    wrong |= (afternoon > 0) & (parts["H"] > 12)
    clock = np.where(wrong, np.nan, clock)
    written = np.isfinite(year) | np.isfinite(parts["p"])
    lost = (written & ~dated) | (wrong & dated)
    days, clock = np.where(lost, np.nan, days), np.where(lost, np.nan, clock)
    there = np.isfinite(clock)
    two_part = bool(there.any() and not np.isfinite(seconds[there]).any())
    step = 60.0 if two_part else 10.0**-fraction_digits
    return Stamps(days, clock, parts["z"], order, guessed, two_part, bool((afternoon > 0).any()), step)


def _days(year: Floats, month: Floats, day: Floats) -> Floats:
    """Days since 1970-01-01 in the proleptic Gregorian calendar, NaN for a date that does not exist."""
    good = np.isfinite(year) & np.isfinite(month) & np.isfinite(day)
    good &= (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype(np.int64).astype("datetime64[M]")
    dates = months.astype("datetime64[D]") + (np.where(good, day, 1).astype(np.int64) - 1)
    good &= dates.astype("datetime64[M]") == months
    return np.where(good, dates.astype(np.int64).astype(np.float64), np.nan)


def _date_order(
    first: Floats, second: Floats, year: Floats, separators: set[str], twelve_hour: bool, day_first: bool | None
) -> tuple[str, bool]:
    """``d/m``, ``m/d`` or ``y-m-d`` for dates of short numbers, and whether it was a guess that data could not settle."""
    if (first >= 13).all() and (year < 2013).all() and (year - 2000 <= 31).all():
        # 26-03-04 read as day-month-year would be older than any log; as year-month-day it is recent.
        return "y-m-d", False
    if day_first is not None:
        return ("d/m" if day_first else "m/d"), False
    over_first, over_second = int((first > 12).sum()), int((second > 12).sum())
    if over_first != over_second:
        return ("d/m" if over_first > over_second else "m/d"), False
    as_day_first, as_month_first = _days(year, second, first), _days(year, first, second)
    spread = [float(np.nanmax(days) - np.nanmin(days)) for days in (as_day_first, as_month_first) if len(days)]
    backward = [int((np.diff(days) < 0).sum()) for days in (as_day_first, as_month_first)]
    if backward[0] != backward[1]:
        return ("d/m" if backward[0] < backward[1] else "m/d"), False
    if spread[0] != spread[1]:
        return ("d/m" if spread[0] < spread[1] else "m/d"), False
    if (first == second).all():
        return "d/m", False
    if "." in separators:
        return "d/m", False
    return ("m/d" if twelve_hour else "d/m"), True
