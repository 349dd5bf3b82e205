"""The dates of a hand-kept table or of one run, by the reader that sensor logs have (`surefoot.logs.stamps`)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Final

import numpy as np

from surefoot.logs.stamps import DAY, read_stamps

YEARS: Final = range(1980, 2200)
"""Years in which a run of a machine can have been."""


@dataclass(frozen=True, slots=True)
class DateRead:
    """One date.

    ``moment``: None when it was not understood; without a zone where the text names none; ``whole_day``: no time of day
    was written; ``why``: what is wrong or not sure, in words; ``sure``: whether to take it unasked.
    """

    moment: datetime | None
    whole_day: bool = False
    sure: bool = True
    why: str = ""


def read_dates(cells: Sequence[str], day_first: bool | None = None) -> list[DateRead]:
    """The dates of a column together, since one row may settle what 3/4/2026 means in another; an empty cell gives a
    sure None. ``day_first`` settles it beforehand."""
    texts = np.array([cell.strip() for cell in cells], dtype=object)
    if not texts.size:
        return []
    stamps = read_stamps(texts, day_first)
    return [
        _one(str(text), float(days), float(clock), float(zone), stamps.guessed and stamps.date_order)
        for text, days, clock, zone in zip(texts, stamps.days, stamps.clock, stamps.zone, strict=True)
    ]


def read_date(text: str, day_first: bool | None = None) -> DateRead:
    """One date by itself."""
    return read_dates([text], day_first)[0]


def _one(text: str, days: float, clock: float, zone: float, guessed: str | bool) -> DateRead:
    if not text:
        return DateRead(None)
    if not np.isfinite(days):
        if np.isfinite(clock):
            return DateRead(None, sure=False, why=f"{text!r} is a time of day without its date")
        return DateRead(None, sure=False, why=f"the date {text!r} is not understood")
    whole_day = not np.isfinite(clock)
    try:
        moment = datetime(1970, 1, 1) + timedelta(days=days, seconds=0.0 if whole_day else clock % (DAY + 1))
        if np.isfinite(zone):
            moment = moment.replace(tzinfo=timezone(timedelta(seconds=zone)))
    except (OverflowError, ValueError):
        return DateRead(None, sure=False, why=f"the date {text!r} cannot be")
    if moment.year not in YEARS:
        return DateRead(
            None, sure=False, why=f"the year of {text!r} cannot be; allowed: {YEARS.start} to {YEARS.stop - 1}"
        )
    # Two short numbers of which either may be the day, and nothing else in the column tells.
    short = guessed and _is_short(text) and moment.day <= 12 and moment.day != moment.month
    if short:
        other = "month first" if guessed == "d/m" else "day first"
        return DateRead(
            moment, whole_day, False, f"{text!r} is taken as {moment.day} {moment:%b %Y}, but it may be {other}"
        )
    return DateRead(moment, whole_day)


def _is_short(text: str) -> bool:
    return not any(char.isalpha() for char in text.split("T")[0].split()[0]) and not text[:4].isdigit()
