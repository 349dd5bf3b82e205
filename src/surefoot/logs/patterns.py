"""Patterns of a log's records: what is left of each once its digits are taken out.

Records with one pattern are built alike, so that what a look at one says holds for all of them: how many cells they
have, where words stand, what unit is written behind a number. One pass at the speed of copying finds them.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from surefoot.logs.lines import Ints, Lines, split
from surefoot.logs.measures import Measure, measure
from surefoot.logs.numbers import Decimal, as_number, is_missing
from surefoot.logs.odd_cells import OddCells

_PLAIN = re.compile(r"^-?[0-9]+(?:[.,][0-9]+)?$")
_CHUNK = 1 << 20
_DIGITS = b"0123456789+-"
_MOST_PATTERNS = 3000
_MOST_ODD = 20_000  # records rewritten one by one
_MOST_MISSING = 40  # spellings


@dataclass(frozen=True)
class Patterns:
    """``usual``: cells of the commonest pattern, with their blanks; ``counts``: records of each pattern;
    ``where``: records of each but the commonest; ``delimiter`` and ``decimal`` under which they were found."""

    usual: tuple[str, ...]
    commonest: bytes
    counts: dict[bytes, int]
    where: dict[bytes, list[int]]
    delimiter: str
    decimal: Decimal
    first: int

    def cells(self, pattern: bytes) -> list[str]:
        """The cells of a pattern, with the blanks in them."""
        return _cells(pattern, self.delimiter)


def find_patterns(lines: Lines, first: int, delimiter: str, decimal: Decimal) -> Patterns | None:
    """The patterns of the records from ``first`` on; None where they are too many to be of use.

    None also where a record goes over several lines, or where the digits' own signs set cells apart.
    """
    count = len(lines) - first
    if count < 1 or not delimiter or delimiter in f"{decimal}+-" or delimiter.isdigit() or not delimiter.isascii():
        return None
    if int(lines.numbers[-1] - lines.numbers[first]) != count - 1:
        return None
    taken_out = _DIGITS + decimal.encode()
    counts: dict[bytes, int] = {}
    where: dict[bytes, list[int]] = {}
    likely = b""
    for start, end, piece in _chunks(lines, first):
        left = piece.translate(None, taken_out)
        if likely and left == likely * (end - start):
            counts[likely] += end - start
            continue
        rows = left.split(b"\n")
        if end < len(lines) or not rows[-1]:
            rows.pop()
        if len(rows) != end - start:
            return None
        if not likely:
            likely = Counter(rows).most_common(1)[0][0] + b"\n"
            counts[likely] = 0
        usual = likely[:-1]
        other = [place for place, pattern in enumerate(rows, start=start) if pattern != usual]
        counts[likely] += len(rows) - len(other)
        for place in other:
            where.setdefault(rows[place - start], []).append(place)
        if len(where) > _MOST_PATTERNS:
            return None
    counts.update((pattern, len(places)) for pattern, places in where.items())
    counts[likely[:-1]] = counts.pop(likely)
    usual_cells = tuple(_cells(likely[:-1], delimiter))
    if likely.count(b'"') % 2:
        return None
    return Patterns(usual_cells, likely[:-1], counts, where, delimiter, decimal, first)


def _chunks(lines: Lines, first: int) -> Iterator[tuple[int, int, bytes]]:
    """(first record, record after the last, their bytes with line ends), about a mebibyte each."""
    start = first
    while start < len(lines):
        at = int(lines.starts[start])
        end = max(start + 1, int(np.searchsorted(lines.starts, at + _CHUNK)))
        end = min(end, len(lines))
        stop = int(lines.starts[end]) if end < len(lines) else len(lines.data)
        yield start, end, lines.data[at:stop]
        start = end


def _cells(pattern: bytes, delimiter: str) -> list[str]:
    text = pattern.decode("utf-8", errors="replace").rstrip("\r")
    if '"' not in text:
        return text.split(delimiter)
    try:
        return next(csv.reader([text], delimiter=delimiter), [])
    except csv.Error:
        return []


@dataclass(frozen=True)
class Plan:
    """How the columns of a log are read, by its patterns.

    ``lines``: its records, those with odd cells in columns of numbers rewritten; ``united``: by column, the unit that
    stands in its cells; ``taken_out``: the bytes of these units; ``as_text``: columns read cell by cell; ``empties``:
    spellings of a gap; ``odd``: the cells not understood; ``uneven``: records that are not built as the others, None
    where that is not known.
    """

    lines: Lines
    united: dict[int, Measure]
    taken_out: bytes
    as_text: frozenset[int]
    empties: tuple[str, ...]
    odd: OddCells
    uneven: Ints | None


def plan(
    lines: Lines,
    found: Patterns,
    usual: int,
    plain: frozenset[int],
    times: frozenset[int],
    samples: list[list[str]],
    headers: dict[int, Measure],
) -> Plan | None:
    """Plan the reading; None where the patterns are of no help. ``usual``: cells of an ordinary record; ``plain``:
    columns of plain numbers by a sample; ``times``: columns that are read as text; ``samples``: cells by column;
    ``headers``: units written in the header, by column."""
    if len(found.usual) != usual:
        return None
    width = len(samples)
    united = {
        place: told
        for place, cell in enumerate(found.usual)
        if place not in plain and place not in times and (told := _united(cell.strip(), samples[place], found))
    }
    rows = sum(found.counts.values())
    patterns = {pattern: found.cells(pattern) for pattern in found.where}
    uneven = {pattern for pattern, cells in patterns.items() if len(cells) != usual or pattern.count(b'"') % 2}
    odd: dict[bytes, list[int]] = {}
    per_column: dict[int, int] = {}
    empties: set[str] = set()
    for pattern in patterns.keys() - uneven:
        for place, (cell, own) in enumerate(zip(patterns[pattern], found.usual, strict=True)):
            if cell == own or (place not in plain and place not in united):
                continue
            if place in plain and not own.strip() and is_missing(cell):
                empties.add(cell.strip())
                continue
            odd.setdefault(pattern, []).append(place)
            per_column[place] = per_column.get(place, 0) + found.counts[pattern]
    many = {place for place, count in per_column.items() if count > max(50, 0.02 * rows)}
    if len(empties) > _MOST_MISSING or any(found.usual[place].strip() for place in plain - many if place < usual):
        return None
    united = {place: told for place, told in united.items() if place not in many}
    numbers = (plain - many) | set(united)
    cut = len(lines) - 1 if lines.cut else -1  # what a cut left of a cell is judged by its text
    touched = {
        record: mine
        for pattern, places in odd.items()
        if (mine := [place for place in places if place in numbers])
        for record in found.where[pattern]
        if record != cut
    }
    taken_out = {code for place in united for code in found.usual[place].encode()}
    if len(touched) > _MOST_ODD or taken_out & set(found.delimiter.encode() + b'"0123456789+-.,\r\n'):
        return None
    units = {**{place: told for place, told in headers.items() if place in plain}, **united}
    new_lines, words = _rewritten(lines, touched, found, units, headers)
    return Plan(
        lines=new_lines,
        united=united,
        taken_out=bytes(sorted(taken_out)),
        as_text=frozenset(range(width)) - numbers,
        empties=tuple(sorted(empties - {""})),
        odd=OddCells((), words),
        uneven=np.array(sorted(record for pattern in uneven for record in found.where[pattern]), dtype=np.int64),
    )


def _united(cell: str, samples: list[str], found: Patterns) -> Measure | None:
    """The unit that stands behind every number of a column; None where it does not."""
    told = measure(cell) if cell else None
    if told is None or any(char.isdigit() for char in cell):
        return None
    there = [text for text in samples if not is_missing(text)]
    if not there:
        return None
    strange = sum(not _is_number_with(text, cell, found.decimal) for text in there)
    if strange > 0.05 * len(there):
        return None
    return told


def _is_number_with(text: str, unit: str, decimal: Decimal) -> bool:
    if not text.endswith(unit):
        return False
    number = text[: len(text) - len(unit)].rstrip()
    return number.isascii() and number.lstrip("+-").replace(decimal, "", 1).isdigit()


def _rewritten(
    lines: Lines,
    touched: dict[int, list[int]],
    found: Patterns,
    units: dict[int, Measure],
    headers: dict[int, Measure],
) -> tuple[Lines, dict[int, tuple[tuple[int, str], ...]]]:
    """The records with their odd cells as plain numbers or as gaps, and what was not understood, by column.

    ``touched``: the columns of the odd cells of each such record. All other cells stay as they are.
    """
    told: dict[int, list[tuple[int, str]]] = {}
    if not touched:
        return lines, {}
    view = memoryview(lines.data)
    pieces: list[bytes | memoryview] = []
    sizes = np.zeros(len(lines), dtype=np.int64)
    cursor = 0
    sign = found.delimiter.encode()
    for record in sorted(touched):
        start, end = int(lines.starts[record]), int(lines.ends[record])
        raw = lines.data[start:end]
        quoted = b'"' in raw
        cells = [cell.encode() for cell in split(lines.text(record), found.delimiter)] if quoted else raw.split(sign)
        for place in touched[record]:
            cell = cells[place].decode("utf-8", errors="replace").strip()
            unit = units.get(place)
            kept = _as_plain(cell, unit, found.decimal, unit is None or headers.get(place) == unit)
            if kept is None:
                told.setdefault(place, []).append((int(lines.numbers[record]), cell))
                kept = ""
            cells[place] = kept.encode()
        if quoted:
            cells = [b'"%b"' % cell if sign in cell else cell for cell in (c.replace(b'"', b"") for c in cells)]
        new = sign.join(cells)
        pieces += [view[cursor:start], new]
        sizes[record] = len(new) - (end - start)
        cursor = end
    pieces.append(view[cursor:])
    before = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(sizes)])
    data = b"".join(pieces)
    changed = replace(lines, data=data, starts=lines.starts + before[:-1], ends=lines.ends + before[1:])
    return changed, {place: tuple(cells) for place, cells in told.items()}


def _as_plain(cell: str, unit: Measure | None, decimal: Decimal, bare: bool) -> str | None:
    """A cell as a plain number in the column's unit, "" for a gap; None when it is neither. ``bare``: a number without
    a unit is in the column's; below 0, as many say that nothing was measured, it is whatever the unit."""
    if is_missing(cell):
        return ""
    number = as_number(cell, decimal)
    if number is None or (number.measure is not None and unit is None):
        return None
    if number.measure is None and not bare and number.value > 0:
        return None
    value = number.value
    if number.measure is not None and unit is not None and number.measure != unit:
        if number.measure.family != unit.family:
            return None
        value = (value * number.measure.factor + number.measure.offset - unit.offset) / unit.factor
    else:
        text = cell[: len(cell) - len(number.unit)].strip()
        if _PLAIN.match(text) and text.count(decimal) == text.count(".") + text.count(","):
            return text  # as it is written: its decimals tell columns apart
    return np.format_float_positional(value, trim="-").replace(".", decimal)
