"""How long a run was, from a cell as people write it: ``30``, ``2h``, ``1 h 30``, ``90 s``, ``1:30:00``, ``0:30``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from surefoot.logs.hand_words import words_of
from surefoot.logs.numbers import Decimal, as_number
from surefoot.logs.words import plain

PER_MINUTE: Final = {"hours": 60.0, "minutes": 1.0, "seconds": 1.0 / 60.0}
_UNITS: Final = {
    "hours": words_of("h hr hrs hour hours std stunde stunden heure heures hora horas"),
    "minutes": words_of("m min mins minute minutes minuten minuto minutos mn"),
    "seconds": words_of("s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos"),
    "days": words_of("d day days tag tage tagen jour jours dia dias"),
}
_BY_WORD: Final = {word: unit for unit, words in _UNITS.items() for word in words}
_IN_MINUTES: Final = {**PER_MINUTE, "days": 1440.0}
_PART = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*([a-zA-Zäöü]+)\.?\s*,?(?:\s*(?:and|und|et|y)\s)?")
_TAIL = re.compile(r"\s*([0-9]{1,2})\s*$")
_CLOCK = re.compile(r"^([0-9]{1,4}):([0-9]{1,2})(?::([0-9]{1,2}))?(?:\s*(h|min|std|m|s)?)$", re.IGNORECASE)

_EITHER = re.compile(r"^[1-9][0-9]{0,2}[.,][0-9]{3}$")
NO_UNIT: Final = "the heading names no unit; taken as minutes"


@dataclass(frozen=True, slots=True)
class MinutesRead:
    """``minutes``: None when nothing was understood; ``sure``: whether to take it unasked; ``why``: what is not;
    ``bare``: a number alone, whose unit stands elsewhere."""

    minutes: float | None
    sure: bool = True
    why: str = ""
    bare: bool = False


def unit_of_heading(heading: str) -> str | None:
    """The unit that a heading names: ``hours``, ``minutes``, ``seconds``; ``h:m`` or ``m:s`` for a form; else None."""
    form = re.search(r"\b(h{1,2}:m{1,2}(?::s{1,2})?|m{1,2}:s{1,2})\b", heading.lower())
    if form:
        return "m:s" if form.group().startswith("m") else "h:m"
    words = plain(heading).split()
    found = {_BY_WORD[word] for word in words if word in _BY_WORD} - {"days"}
    return found.pop() if len(found) == 1 else None


def read_minutes(cell: str, unit: str | None = None, decimal: Decimal = ".") -> MinutesRead:
    """Minutes from a cell; ``unit``: that of its column as `unit_of_heading` gives it, or None when not known."""
    text = cell.strip()
    clock = _CLOCK.match(text)
    if clock:
        return _clock(text, clock, unit)
    number = as_number(text, decimal)
    if number is not None and not number.unit:
        per_minute = PER_MINUTE.get(unit or "", 1.0)
        if _EITHER.match(text):
            return MinutesRead(number.value * per_minute, False, f"{text!r} is either {_two_ways(text)}", True)
        if unit in PER_MINUTE:
            return MinutesRead(number.value * per_minute, bare=True)
        return MinutesRead(number.value, unit in ("h:m", "m:s"), NO_UNIT, True)
    minutes, place, last = 0.0, 0, ""
    while match := _PART.match(text, place):
        word = _BY_WORD.get(match[2].lower())
        if word is None:
            break
        minutes += float(match[1].replace(",", ".")) * _IN_MINUTES[word]
        place, last = match.end(), word
    if place and last == "hours" and (tail := _TAIL.match(text, place)):
        minutes, place = minutes + int(tail[1]), len(text)
    if not place or text[place:].strip():
        return MinutesRead(None, False, f"{text!r} is no length of time")
    return MinutesRead(minutes)


def _two_ways(text: str) -> str:
    """A number with one sign before three digits, as a thousand and as a decimal."""
    return f"{re.sub('[.,]', '', text)} or {float(text.replace(',', '.')):g}"


def _clock(text: str, clock: re.Match[str], unit: str | None) -> MinutesRead:
    first, second, third = int(clock[1]), int(clock[2]), clock[3]
    if second > 59 or (third and int(third) > 59):
        return MinutesRead(None, False, f"{text!r} is no length of time")
    if third:
        return MinutesRead(first * 60 + second + int(third) / 60)
    named = _BY_WORD.get((clock[4] or "").lower())
    if unit == "h:m" or named == "hours":
        return MinutesRead(first * 60.0 + second)
    if unit == "m:s" or named == "minutes":
        return MinutesRead(first + second / 60)
    # The shorter reading claims less of a run that held, and more of one that failed.
    return MinutesRead(
        first + second / 60, False, f"{text!r} is either {first * 60 + second} min or {first} min {second} s"
    )
