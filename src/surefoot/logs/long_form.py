"""Logs of one reading a line (time, sensor, value), turned so that every sensor has a column."""

from __future__ import annotations

from dataclasses import dataclass

from surefoot.logs import words
from surefoot.logs.dialect import Dialect, is_value
from surefoot.logs.header import Header
from surefoot.logs.lines import Lines, split
from surefoot.logs.measures import measure
from surefoot.logs.problems import Ledger
from surefoot.logs.rendered import as_text

_SENSOR = words._any(
    r"""
    \bsensor  \bchannel  ^name$  \bmetric  ^key$  \bmeasure  \bitem\b  ^tag$  \bparameter  \bsignal  \bvariable  \blabel
    \bkanal  messgr  grosse  \bcapteur  \bmesure$  \bcanal  датчик  センサ  传感器  \bquantity\b  \bfield\b
    """
)
_VALUE = words._any(r"\bvalue  \breading  \bwert  \bvaleur  \bvalor  значение  値  值  \bresult  messwert  ^val$")
_UNIT = words._any(r"\bunits?\b  einheit  \bunite\b  \bunidad  единиц  単位  单位")
_MOST_SENSORS = 2000


@dataclass(frozen=True)
class Turned:
    """``text``: with a column for each sensor; ``numbers``: the line of the file on which each row begins."""

    text: bytes
    numbers: list[int]


def turned(lines: Lines, dialect: Dialect, header: Header, ledger: Ledger) -> Turned | None:
    """The log with a column for each sensor; None when it is not of one reading a line."""
    if not dialect.delimiter or not header.records or not 3 <= len(header.texts) <= 8:
        return None
    plain = [words.plain(name) for name in header.names]
    value = next((place for place, text in enumerate(plain) if _VALUE.search(text)), None)
    sensor = next((place for place, text in enumerate(plain) if place != value and _SENSOR.search(text)), None)
    when = [place for place, text in enumerate(plain) if words.TIME.search(text) and place not in (value, sensor)]
    if value is None or sensor is None or not when:
        return None
    unit = next((place for place, text in enumerate(plain) if _UNIT.search(text) and place != value), None)
    rest = [place for place in range(len(plain)) if place not in (value, sensor, unit, *when)]
    rows: dict[tuple[str, ...], dict[str, str]] = {}
    began: dict[tuple[str, ...], int] = {}
    units: dict[str, dict[str, None]] = {}
    written: dict[tuple[tuple[str, ...], str], str] = {}
    short: list[int] = []
    twice: list[int] = []
    for record in range(header.first, len(lines)):
        text = lines.text(record)
        if not text.strip():
            continue
        cells = split(text, dialect.delimiter)
        number = int(lines.numbers[record])
        if len(cells) <= max(value, sensor, *when) or not cells[sensor] or is_value(cells[sensor]):
            short.append(number)
            continue
        spelled = cells[unit] if unit is not None and unit < len(cells) else ""
        more = [cells[place] for place in rest if place < len(cells) and cells[place] and not is_value(cells[place])]
        name = " ".join([*more, cells[sensor]])
        units.setdefault(name, {})
        if spelled and measure(spelled):
            units[name].setdefault(spelled)
        moment = tuple(cells[place] for place in when)
        row = rows.setdefault(moment, {})
        began.setdefault(moment, number)
        if name in row and row[name] != cells[value]:
            twice.append(number)
            continue
        # Where a sensor has several units, each cell keeps its own.
        row[name] = cells[value]
        if spelled and measure(spelled):
            written[moment, name] = spelled
    names = {name: f"{name} [{next(iter(own))}]" if len(own) == 1 else name for name, own in units.items()}
    for (moment, name), spelled in written.items():
        if len(units[name]) > 1 and is_value(rows[moment][name]):
            rows[moment][name] += f" {spelled}"
    if not rows or not 1 <= len(names) <= _MOST_SENSORS or len(short) > 0.5 * len(lines):
        return None
    ledger.note(f"one reading a line, of {len(names)} sensors: turned into a column for each.")
    ledger.many("no reading: the line was left out", short)
    ledger.many("a second reading of the sensor at that time: left out", twice)
    top = [header.texts[place] for place in when]
    body = [[*moment, *(row.get(name, "") for name in names)] for moment, row in rows.items()]
    first = int(lines.numbers[header.records[-1]])
    return Turned(as_text([*top, *names.values()], body), [first, *began.values()])
