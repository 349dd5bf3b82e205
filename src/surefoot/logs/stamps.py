"""Dates and times of day in text, any common spelling, read in bulk by their shape.

Our own and not `pandas.to_datetime`, which took 1.4 to 2 times (ISO 8601) or 7 to 16 times (all else) as long on the
bytes of a log, and takes one spelling for a column (`tests/benchmarks/dates.py`); a test holds the two to the same
answers.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.shapes import LONGEST, Shapes, all_digits, digits_at, pieces, text_of
from surefoot.runs import Floats

DAY = 86400.0
_DAY_NAME = r"(?:[^\W0-9_]{2,10}\.?,?\s+)?"
_TIME = (
    r"(?:(?P<D>[0-9]{1,4})(?:\s?d(?:ays?)?,?\s+|\.|\s?d\s?))?"
    r"(?P<H>[0-9]{1,5})[:h](?P<M>[0-9]{2})(?:[:m](?P<S>[0-9]{2})(?:s|[.,:](?P<f>[0-9]{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
)
_CLOCK = (
    r"(?P<H>[0-9]{1,2})[:h.](?P<M>[0-9]{2})(?:[:m.](?P<S>[0-9]{2})(?:s|[.,:](?P<f>[0-9]{1,9}))?)?"
    r"(?:\s*(?P<ap>[AaPp])\.?\s?[Mm]\.?)?"
)
_COMPACT_CLOCK = r"(?P<H>[0-9]{2})(?P<M>[0-9]{2})(?P<S>[0-9]{2})(?:[.,](?P<f>[0-9]{1,9}))?"
# Names of zones that mean one offset wherever they are used; CST, IST and BST mean several and are not read.
_NAMED_ZONES = {
    "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "EET": 2, "EEST": 3, "WET": 0, "WEST": 1, "MSK": 3, "JST": 9, "KST": 9,
    "EST": -5, "EDT": -4, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "HST": -10,
    "AEST": 10, "AEDT": 11, "NZST": 12, "NZDT": 13,
}  # fmt: skip
_NAMES = "|".join(sorted(_NAMED_ZONES, key=len, reverse=True))
_ZONE = rf"(?:\s*(?P<z>Z|z|UTC|GMT|{_NAMES}|"
_ZONE += r"(?:UTC|GMT)?[+\-\u2212][0-9]{2}:?[0-9]{2}|[+\-\u2212][0-9]{2})(?:\s*\[[\w/+\-]+\])?)?"
_DATES = {
    "ymd": r"(?P<y>[0-9]{4})(?P<s>[-/.])(?P<m>[0-9]{1,2})(?P=s)(?P<d>[0-9]{1,2})\.?",
    "pq": r"(?P<p>[0-9]{1,2})(?P<s>[-/.])(?P<q>[0-9]{1,2})(?P=s)(?P<y>[0-9]{4}|[0-9]{2})",
    "compact": r"(?P<y>(?:19|20)[0-9]{2})(?P<m>0[1-9]|1[0-2])(?P<d>[0-3][0-9])",
    "dmon": r"(?P<d>[0-9]{1,2})\.?[ \-/](?P<mon>[^\W0-9_]{3,9})\.?[ \-/,]+(?P<y>[0-9]{4}|[0-9]{2})",
    "mond": r"(?P<mon>[^\W0-9_]{3,9})\.?[ \-](?P<d>[0-9]{1,2}),?[ \-](?P<y>[0-9]{4})",
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
# As C's asctime writes it, a blank for the first digit of the day, and as `date` does with the zone before the year.
_FORMS.append(
    (
        "mond",
        re.compile(
            rf"^{_DAY_NAME}(?P<mon>[^\W0-9_]{{3,9}})\.?\s+(?P<d>[0-9]{{1,2}}),?\s+{_CLOCK}{_ZONE}\s+(?P<y>[0-9]{{4}})$"
        ),
    )
)
_FORMS.append(("clock", re.compile(rf"^{_TIME}{_ZONE}$")))
_FORMS.append(("clock", re.compile(r"^(?P<M>[0-9]{1,5}):(?P<S>[0-9]{2})[.,](?P<f>[0-9]{1,9})$")))
_WORDS = (
    r"(?:(?P<H>[0-9]{1,4})\s?h\s+)?(?:(?P<M>[0-9]{1,5})\s?m(?:in)?\s+)(?P<S>[0-9]{1,2})(?:[.,](?P<f>[0-9]{1,9}))?\s?s"
)
_FORMS.append(("clock", re.compile(rf"^{_WORDS}$")))
_DIGIT = re.compile("[0-9]")
_DIGITS = ("y", "m", "d", "p", "q", "D", "H", "M", "S", "f")


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
    if len(cell) > LONGEST or not _DIGIT.search(cell):
        return None
    for name, pattern in _FORMS:
        found = pattern.match(cell)
        if found and (name not in ("dmon", "mond") or found["mon"].lower() in _MONTHS):
            return name, found
    return None


def is_stamp(cell: str) -> bool:
    """Whether a cell reads as a date, a time or both."""
    return match_stamp(cell.strip()) is not None


def read_stamps(column: NDArray[Any], day_first: bool | None = None) -> Stamps:
    """Read a column of date or time texts, shape (n,), bytes or objects. Cells that are neither give NaN everywhere.

    Cells of one shape are read together: the first one's digits tell where the others' are, and those that do not fit
    are tried as the next shape.
    """
    count = column.size
    parts = {name: np.full(count, np.nan) for name in (*_DIGITS, "z")}
    afternoon = np.zeros(count, dtype=np.int8)  # 1 am, 2 pm
    fraction_digits = 0
    separators: set[str] = set()
    shapes = Shapes.of(column)
    for first in shapes.examples():
        found = match_stamp(text_of(shapes.codes, first))
        if found is None:
            shapes.left[first] = False
            continue
        _read_shape(shapes, first, found[1], parts, afternoon)
        fraction_digits = max(fraction_digits, len(found[1].groupdict().get("f") or ""))
        separators.add(found[1].groupdict().get("s") or "")
    for row in np.flatnonzero(shapes.left):
        # Many shapes: what is left is read one by one.
        found = match_stamp(text_of(shapes.codes, int(row)))
        if found is not None:
            only = Shapes(shapes.codes[row : row + 1], np.ones(1, dtype=np.bool_))
            own = {name: values[row : row + 1] for name, values in parts.items()}
            _read_shape(only, 0, found[1], own, afternoon[row : row + 1])
    return _assembled(parts, afternoon, separators, fraction_digits, day_first)


def _read_shape(
    shapes: Shapes, first: int, example: re.Match[str], parts: dict[str, Floats], afternoon: NDArray[np.int8]
) -> None:
    """Read all rows that have the example's shape, the example among them."""
    text = example.string
    groups = example.groupdict()

    def span(name: str) -> tuple[int, int]:
        # Offsets in codes differ from those in text where a character takes several bytes.
        start, end = example.span(name)
        before = len(pieces(text[:start], shapes.codes))
        return before, before + len(pieces(text[start:end], shapes.codes))

    free = np.zeros(len(pieces(text, shapes.codes)), dtype=np.bool_)
    for name in _DIGITS:
        if groups.get(name):
            free[slice(*span(name))] = True
    digit_places = np.flatnonzero(free)
    letter = span("ap")[0] if groups.get("ap") else None
    if letter is not None:
        free[letter] = True
    rows, sub = shapes.alike(first, free)
    fits = all_digits(sub, digit_places)
    if letter is not None:
        lower = sub[:, letter] | 32
        fits &= (lower == ord("a")) | (lower == ord("p"))
    if not fits.all():
        rows, sub = rows[fits], sub[fits]
    for name in _DIGITS:
        if groups.get(name):
            start, end = span(name)
            values = digits_at(sub, start, end)
            parts[name][rows] = values / 10.0 ** (end - start) if name == "f" else values
            if name == "y" and end - start == 2:
                parts[name][rows] = values + np.where(values < 70, 2000, 1900)
    if groups.get("mon"):
        parts["m"][rows] = _MONTHS[groups["mon"].lower()]
    if letter is not None:
        afternoon[rows] = np.where((sub[:, letter] | 32) == ord("a"), 1, 2)
    if groups.get("z"):
        parts["z"][rows] = _zone_seconds(groups["z"])
    shapes.done(rows)
    shapes.left[first] = False


def _zone_seconds(text: str) -> float:
    plain = text.upper().replace("UTC", "").replace("GMT", "").replace("\u2212", "-").replace(":", "")
    if plain in ("", "Z"):
        return 0.0
    if plain in _NAMED_ZONES:
        return _NAMED_ZONES[plain] * 3600.0
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
    """``d/m``, ``m/d`` or ``y-m-d`` for dates of short numbers, and whether data could not settle it."""
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
