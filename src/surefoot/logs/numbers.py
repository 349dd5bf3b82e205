"""One cell of a log: a number in any common spelling, a word for yes or no, or nothing measured."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from surefoot.logs.measures import Measure, measure

Decimal = Literal[".", ","]

_MISSING_WORDS = tuple(
    """
    -|--|---|–|—|n/a|na|nan|+nan|-nan|nan(ind)|-nan(ind)|1.#qnan|-1.#ind|1.#ind|null|none|nil|?|??|???|#n/a|#na
    #n/a n/a|<na>|n.a.|n.a|n/d|n.d.|k.a.|k. a.|nv|n.v.|s/o|nd|unknown|unavailable|not available|[not available]
    [n/a]|not supported|[not supported]|missing|no data|undefined|unbekannt|nicht verfügbar|inconnu|desconocido
    *|.|..|...|#value!|#div/0!|#null!
    """.strip()
    .replace("\n    ", "|")
    .split("|")
)
MISSING = frozenset(_MISSING_WORDS) | {""}

_YES_WORDS = (
    "yes true on y t x ✓ active enabled asserted throttling throttled exceeded limited limiting "
    "ja wahr an ein aktiv oui vrai actif sí si verdadero activo activado"
)
_NO_WORDS = (
    "no false off n f ok normal inactive disabled nein falsch aus inaktiv non faux inactif falso inactivo desactivado"
)
_YES, _NO = _YES_WORDS.split(), _NO_WORDS.split()
_NOT = tuple(f"not {word}" for word in ("active", "asserted", "throttling", "throttled", "exceeded", "limited"))
BOOLEANS: dict[str, float] = dict.fromkeys(_YES, 1.0) | dict.fromkeys((*_NO, *_NOT), 0.0)
"""Words for yes and no, in lower case."""

LONGEST_CELL = 60
_CELL = re.compile(
    r"^(?P<sign>[+\-\u2212]?)\s?"
    r"(?P<digits>[0-9](?:[0-9.,'’\u00a0\u202f\u2009 ]*[0-9])?[.,]?|[.,][0-9]+)"
    r"(?:[eE](?P<power>[+\-]?[0-9]{1,3}))?"
    r"(?P<unit>[^0-9].*)?$"
)
_HEX = re.compile(r"^0[xX]([0-9a-fA-F]{1,16})$")
_GROUPED = re.compile(r"^[0-9]{1,3}(?:[ '’\u00a0\u202f\u2009][0-9]{3})+(?:[.,][0-9]*)?$")
_GAPS = re.compile(r"[ '’\u00a0\u202f\u2009]")
_COMMA_GROUPS = re.compile(r"^[1-9][0-9]{0,2}(?:,[0-9]{3})+$")
_POINT_GROUPS = re.compile(r"^[1-9][0-9]{0,2}(?:\.[0-9]{3})+$")


@dataclass(frozen=True)
class Number:
    """A number as read from a cell, with the unit written beside it, if any."""

    value: float
    measure: Measure | None = None
    unit: str = ""


def is_missing(cell: str) -> bool:
    """Whether a cell is one of the usual ways to say that nothing was measured."""
    if cell[:1].isdigit() and "#" not in cell:
        return False
    return cell.strip().lower() in MISSING


def as_boolean(cell: str) -> float | None:
    """1.0 or 0.0 for a word that says yes or no, else None."""
    return BOOLEANS.get(cell.strip().lower())


def as_number(cell: str, decimal: Decimal = ".") -> Number | None:
    """The number in a cell, or None. Takes grouped digits, a unit after the number, hexadecimal, and the other
    decimal sign where it cannot be a grouping."""
    text = cell.strip()
    if len(text) > LONGEST_CELL:
        return None
    hexadecimal = _HEX.match(text)
    if hexadecimal:
        return Number(float(int(hexadecimal.group(1), 16)))
    match = _CELL.match(text)
    if match is None:
        return None
    unit = (match["unit"] or "").strip()
    found = measure(unit) if unit else None
    if unit and found is None:
        return None
    value = _digits(match["digits"], decimal)
    if value is None:
        return None
    if match["power"]:
        power = int(match["power"])
        if abs(power) > 100:
            return None
        value *= 10.0**power
    if match["sign"] in ("-", "\u2212"):
        value = -value
    return Number(value, found, unit)


def _digits(text: str, decimal: Decimal) -> float | None:
    if _GAPS.search(text):
        if not _GROUPED.match(text):
            return None
        text = _GAPS.sub("", text)
    commas, points = text.count(","), text.count(".")
    if commas and points:
        # The sign that comes last is the decimal one, and it comes once.
        last = "," if text.rindex(",") > text.rindex(".") else "."
        group = "." if last == "," else ","
        whole, _, fraction = text.rpartition(last)
        pattern = _COMMA_GROUPS if group == "," else _POINT_GROUPS
        if not pattern.match(whole):
            return None
        text = whole.replace(group, "") + "." + fraction
    elif commas > 1 or points > 1:
        if not (_COMMA_GROUPS.match(text) or _POINT_GROUPS.match(text)):
            return None
        text = text.replace(",", "").replace(".", "")
    elif commas or points:
        sign = "," if commas else "."
        pattern = _COMMA_GROUPS if commas else _POINT_GROUPS
        if sign != decimal and pattern.match(text):
            text = text.replace(sign, "")
        else:
            text = text.replace(sign, ".")
    try:
        return float(text)
    except ValueError:
        return None


_SIGNED_DIGITS = re.compile(r"^[+\-\u2212]?\s?([0-9][0-9.,]*)")


def decimal_votes(cells: Iterable[str]) -> tuple[int, int, int, int]:
    """How cells speak for a decimal sign: (surely comma, surely point, comma or grouping, point or grouping)."""
    comma = point = maybe_comma = maybe_point = 0
    for cell in cells:
        match = _SIGNED_DIGITS.match(cell.strip())
        if match is None or (match.end() < len(cell.strip()) and as_number(cell) is None):
            continue
        text = match.group(1)
        commas, points = text.count(","), text.count(".")
        if commas and points:
            if text.rindex(",") > text.rindex("."):
                comma += 1
            else:
                point += 1
        elif commas == 1:
            if _COMMA_GROUPS.match(text):
                maybe_comma += 1
            else:
                comma += 1
        elif points == 1:
            if _POINT_GROUPS.match(text):
                maybe_point += 1
            else:
                point += 1
        elif commas > 1:
            point += 1
        elif points > 1:
            comma += 1
    return comma, point, maybe_comma, maybe_point


def is_grouped(cell: str, decimal: Decimal) -> bool:
    """Whether a number's digits are grouped by thousands: such a column is read cell by cell."""
    match = _SIGNED_DIGITS.match(cell.strip())
    text = match.group(1) if match else ""
    group = "." if decimal == "," else ","
    return group in text or bool(_GAPS.search(cell.strip()) and _GROUPED.match(cell.strip().lstrip("+-\u2212 ")))
