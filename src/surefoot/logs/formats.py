"""How the numbers of a log are written: a logger gives each column the same number of decimals in every line.

So a cell with its neighbour's decimals says that it stands under the wrong name, whatever its value.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.lines import Ints
from surefoot.logs.numbers import Decimal
from surefoot.runs import Floats

_SEEN = 14  # good samples looked at for what is usual
_LEAST = 4
_EACH = 4
_ALL_LOOKED_AT = 40_000  # cells of a log whose every record is looked at
_PIECE = 1 << 16
_PADDED_ROWS, _PADDED_CELLS = 240, 30  # looked at, and needed, to say that a column's last zeros are not written
_FINE = 3  # more decimals than these are as good as any number
Cells = Callable[[int], Sequence[str]]


class Formats:
    """Decimals of the cells of single samples. ``cells(row)``: the texts of a sample, of ``count``; ``decimals``: sign
    by column."""

    def __init__(self, cells: Cells, decimals: Sequence[Decimal], count: int) -> None:
        self._cells = cells
        self._patterns = [re.compile(rf"^[+\-]?[0-9]+(?:[{sign}]([0-9]*))?(?:\s*[^\s0-9.,].*)?$") for sign in decimals]
        self._known: dict[int, tuple[int | None, ...]] = {}
        self._count = count
        self._pads: dict[tuple[int, int], bool] = {}

    def of(self, row: int) -> tuple[int | None, ...]:
        """Decimals by column, None for a cell that is no plain number."""
        if row not in self._known:
            found: list[int | None] = []
            for cell, pattern in zip(self._cells(row), self._patterns, strict=False):
                match = pattern.match(cell)
                found.append(len(match.group(1) or "") if match else None)
            self._known[row] = tuple(found)
        return self._known[row]

    def empty(self, row: int) -> set[int]:
        """The columns whose cell is empty."""
        return {place for place, cell in enumerate(self._cells(row)) if not cell}

    def usual(self, good: Ints, places: Sequence[int]) -> dict[int, int]:
        """Decimals of the columns in which all of some good samples have as many."""
        # The same rows again and again, so that each is looked at once.
        some = good[good % _EACH == 0]
        some = good if some.size < _SEEN // 2 else some
        seen = [self.of(int(row)) for row in some[:: max(1, some.size // _SEEN)][-_SEEN:]]
        fixed: dict[int, int] = {}
        for place in places:
            there = [row[place] for row in seen if place < len(row) and row[place] is not None]
            alike = len(there) >= min(_LEAST, len(seen)) and len(set(there)) == 1
            if alike and there[0] is not None and self._is_padded(place, there[0]):
                fixed[place] = there[0]
        return fixed

    def _is_padded(self, place: int, decimals: int) -> bool:
        """Whether a column's last zeros are written. Where they are left out (70 for 70.0), decimals say nothing."""
        if decimals == 0 or (place, decimals) in self._pads:
            return self._pads.get((place, decimals), True)
        ends = []
        for row in np.unique(np.linspace(0, max(0, self._count - 1), _PADDED_ROWS).astype(int)).tolist():
            written = self.of(row)
            if place < len(written) and written[place] == decimals:
                match = self._patterns[place].match(self._cells(row)[place])
                ends.append(match is not None and match.group(1).endswith("0"))
        self._pads[place, decimals] = len(ends) < _PADDED_CELLS or any(ends)
        return self._pads[place, decimals]

    def changes(self, columns: Sequence[Floats | None], places: Sequence[int], count: int) -> Ints:
        """Samples with which the way of writing changes: all of a small log's, else those finer than the first were."""
        if count * len(self._patterns) <= _ALL_LOOKED_AT:
            return self._every_change(places, count)
        fixed = self.usual(np.arange(64), places)
        changed = np.zeros(count, dtype=np.bool_)
        for place, decimals in fixed.items():
            values = columns[place]
            if values is None or decimals >= _FINE:
                continue
            finer = _finer(values, decimals)
            turns = np.flatnonzero(np.diff(finer)) + 1
            if turns.size <= 64:
                changed[turns] = True
        return np.flatnonzero(changed)

    def _every_change(self, places: Sequence[int], count: int) -> Ints:
        changed = np.zeros(count, dtype=np.bool_)
        rows = [self.of(row) for row in range(count)]
        for place in places:
            last: int | None = None
            turns = []
            for row, now in enumerate(rows):
                decimals = now[place] if place < len(now) else None
                if decimals is None:
                    continue
                if last is not None and decimals != last:
                    turns.append(row)
                last = decimals
            if len(turns) <= max(6, 0.1 * count):  # more of them, and decimals come and go as the values want
                changed[turns] = True
        return np.flatnonzero(changed)


def _finer(values: Floats, decimals: int) -> NDArray[np.bool_]:
    """Where a number needs more decimals than some, shape (n,)."""
    if decimals == 0:
        with np.errstate(invalid="ignore"):
            return np.asarray((values != np.rint(values)) & (values == values), dtype=np.bool_)
    finer = np.zeros(values.size, dtype=np.bool_)
    for begin in range(0, values.size, _PIECE):
        scaled = values[begin : begin + _PIECE] * 10.0**decimals
        scaled -= np.rint(scaled)
        with np.errstate(invalid="ignore"):
            finer[begin : begin + _PIECE] = np.abs(scaled, out=scaled) > 1e-4
    return finer


def moved_by_format(
    now: Sequence[int | None], fixed: dict[int, int], places: Sequence[int], empty: set[int], foreign: set[int]
) -> str:
    """In words how a sample stands wrongly by its decimals; "" when they do not say so.

    ``fixed``: what is usual; ``empty``: columns without a cell; ``foreign``: whose value is foreign to them.
    """
    odd = [place for place in places if place in fixed and place < len(now) and now[place] not in (None, fixed[place])]
    if not odd or len(set(fixed.values())) < 2:
        return ""
    if len(odd) == 2:
        one, two = odd
        if now[one] == fixed[two] and now[two] == fixed[one]:
            return "two of its cells are exchanged"
    for offset in (1, -1, 2, -2):
        explained = [place for place in odd if fixed.get(place - offset) == now[place]]
        if not explained or len(odd) - len(explained) > abs(offset):
            continue
        begin = min(explained)
        tail = [place for place in places if place >= begin and place < len(now) and now[place] is not None]
        right = [place for place in tail if fixed.get(place - offset) == now[place]]
        if len(tail) - len(right) > (abs(offset) if offset < 0 else 0):
            continue
        # One cell alone may be a whim of the logger's: then a hole must show from where the others moved.
        around = range(begin - abs(offset), begin) if offset > 0 else places[offset:]
        hole = any(place in empty or place in foreign or place in odd for place in around)
        if hole or len(explained) > 1:
            return f"its cells stand {abs(offset)} {'further right' if offset > 0 else 'further left'}"
    return ""
