"""The few cells of a log that are words among its numbers, found before the numbers are parsed.

One word in a column makes the number parser give every cell of it as an object, at many times the cost: told of the
word beforehand, it takes it for a gap.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surefoot.logs.lines import Ints, Lines, split
from surefoot.logs.numbers import as_boolean, as_number, is_missing

_MOST = 20_000  # more of them, and the column is one of words
_PLAIN = b"0123456789.,;:|+-/ \t\r\n\"'eE"
_IS_ODD = np.ones(256, dtype=np.bool_)
_IS_ODD[np.frombuffer(_PLAIN, dtype=np.uint8)] = False


@dataclass(frozen=True)
class OddCells:
    """``words``: their spellings; ``at``: by column, the line of each and its text."""

    words: tuple[str, ...] = ()
    at: dict[int, tuple[tuple[int, str], ...]] = field(default_factory=dict)


def odd_cells(lines: Lines, first: int, delimiter: str, as_text: frozenset[int]) -> OddCells:
    """Words in the columns of numbers from record ``first`` on; none where they are many."""
    if first >= len(lines) or not delimiter:
        return OddCells()
    start = int(lines.starts[first])
    if not lines.data[start:].translate(None, _PLAIN + delimiter.encode()):
        return OddCells()
    buffer = np.frombuffer(lines.data, dtype=np.uint8)[start:]
    some = buffer[:: max(1, buffer.size // 200_000)]
    # A stamp may hold a letter or two; units in cells, or columns of words, hold more than are looked at one by one.
    if _IS_ODD[some].mean() > 0.01:
        return OddCells()
    places = np.flatnonzero(_IS_ODD[buffer]) + start
    records = np.unique(np.searchsorted(lines.starts, places, side="right") - 1)
    if records.size > _MOST:
        return OddCells()
    found: dict[int, list[tuple[int, str]]] = {}
    words: set[str] = set()
    for record in records.tolist():
        for place, cell in enumerate(split(lines.text(record), delimiter)):
            if place in as_text or not cell or cell[0].isdigit() or is_missing(cell):
                continue
            if as_number(cell) is None and as_boolean(cell) is None:
                found.setdefault(place, []).append((int(lines.numbers[record]), cell))
                words.add(cell)
    if len(words) > 50:
        return OddCells()
    return OddCells(tuple(sorted(words)), {place: tuple(cells) for place, cells in found.items()})


def rows_of(told: tuple[tuple[int, str], ...], lines: Ints) -> Ints:
    """Which rows of those on ``lines`` the cells stand in."""
    rows = np.searchsorted(lines, np.array([line for line, _ in told], dtype=np.int64))
    rows = np.minimum(rows, lines.size - 1)
    return np.asarray(rows[lines[rows] == np.array([line for line, _ in told])], dtype=np.int64)
