"""Samples whose cells no longer stand under their header: a cell was inserted, lost, or two were exchanged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.formats import Formats, moved_by_format
from surefoot.logs.lines import Ints
from surefoot.runs import Floats

BEFORE = 40  # samples that a suspect is compared with
_JUMP = 0.35  # relative change from one sample to the next that makes a suspect
_NEAR = 0.15
_MOST_SUSPECTS = 3000
_OFFSETS = (1, -1, 2, -2)
_LEAST_GOOD = 3
_FEW = 3
_AROUND = 200  # samples on either side that say how far a column goes
_PIECE = 1 << 16


@dataclass(frozen=True)
class Shifted:
    """``rows``: which samples stand wrongly, ascending; ``to_the_end``: the first of those that go on to the end of the
    log, or None; ``first``: in words, of the first."""

    rows: Ints
    to_the_end: int | None
    first: str


def find_shifted(columns: Sequence[Floats | None], formats: Formats | None = None) -> Shifted | None:
    """Samples that fit the columns beside theirs better than their own; None when all stand well.

    ``columns``: by place in the file, shape (n,) each, NaN where nothing was read, None where it holds no numbers;
    ``formats``: how the numbers are written, where that is known.
    A suspect is a sample in which several columns change at once by more than a load step makes likely; it stands
    wrongly when its values are foreign to their own columns and near to what the columns beside them said just before.
    """
    places = [place for place, values in enumerate(columns) if values is not None and np.isfinite(values[:200]).any()]
    if len(places) < 2:
        return None
    first = columns[places[0]]
    assert first is not None
    count = first.size
    if count < 3:
        return None
    suspects = _suspects(columns, places, count)
    if formats is not None:
        changes = formats.changes(columns, places, count)
        holes = _holes(columns, places, count)
        more = [some for some in (changes, holes) if some.size <= _MOST_SUSPECTS // 10]
        suspects = np.unique(np.concatenate([suspects, *more]))
    if not suspects.size or suspects.size > max(_MOST_SUSPECTS, count // 2):
        return None
    table = _Table(columns, places, formats)
    wrong = np.zeros(count, dtype=np.bool_)
    by_value = np.zeros(count, dtype=np.bool_)  # of those: told by their values alone
    said = ""
    begin = int(suspects[0])
    if begin <= _FEW and count - begin > 2 * _FEW:
        # The first lines have none before them: they are compared with those behind, the nearest last.
        behind = np.arange(begin + 1, min(count, begin + 1 + BEFORE))[::-1]
        said = table.stands_wrongly(begin - 1, behind)
        wrong[:begin] = bool(said)
    good = np.arange(0, begin)[-BEFORE:] if not said else np.zeros(0, dtype=np.int64)
    since: int | None = None
    for place, row in enumerate(suspects):
        row = int(row)
        end = int(suspects[place + 1]) if place + 1 < suspects.size else count
        if since is None:
            # The first lines have too few before them: those behind say as much, the nearest last.
            behind = np.arange(row + 1, min(count, row + 1 + BEFORE))[::-1]
            found = table.stands_wrongly(row, good if good.size > _FEW or behind.size <= 2 * _FEW else behind)
            # Just where a load begins the lines behind are the ones to compare a row with a hole to.
            found = found or table.holed(row, behind)
        else:
            # Back in place is what the wrong ones say of it, or what the good ones before them say.
            back = table.is_back(row, good, np.arange(since, row)[-BEFORE:])
            if back is None:
                back = bool(table.stands_wrongly(row, np.arange(since, row)[-BEFORE:])) or table.is_near(row, good)
            found = "" if back else said
        if found:
            said = said or found
            since = row if since is None else since
            wrong[row:end] = True
            by_value[row:end] = table.by_value
        else:
            since = None
            good = np.concatenate([good, np.arange(row, end)])[-BEFORE:]
    _let_go(wrong, by_value, table)
    if not wrong.any():
        return None
    since = since if since is not None and wrong[since] else None
    return Shifted(np.flatnonzero(wrong), since if since is not None and since < count - 1 else None, said)


def _let_go(wrong: NDArray[np.bool_], by_value: NDArray[np.bool_], table: _Table) -> None:
    """Take back what its values alone accuse, where each lies within what its own column says around it.

    Clocks that leap between the same levels, or parts that wake in turn, look for a moment like their neighbours.
    A log that goes on wrongly to its end has nothing behind to be held against, and is not let go.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], wrong.view(np.int8), [0]])))
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if not by_value[begin:end].all() or end == wrong.size:
            continue
        around = np.arange(max(0, begin - _AROUND), min(wrong.size, end + _AROUND))
        around = around[~wrong[around]]
        if (around >= end).sum() > _FEW and not table.is_out_of(np.arange(begin, end), around):
            wrong[begin:end] = False


def _suspects(columns: Sequence[Floats | None], places: list[int], count: int) -> Ints:
    jumps = np.zeros(count, dtype=np.int16)
    gaps = np.zeros(count, dtype=np.int16)
    for begin in range(1, count, _PIECE):  # in pieces that stay in the processor's cache
        end = min(count, begin + _PIECE)
        for place in places:
            column = columns[place]
            assert column is not None
            values = column[begin - 1 : end]
            with np.errstate(invalid="ignore"):
                size = np.abs(values)
                step = np.abs(np.diff(values))
                jumps[begin:end] += step > _JUMP * np.maximum(size[1:], size[:-1])
            if np.isnan(np.add.reduce(step)):
                there = np.isfinite(values)
                gaps[begin:end] += there[1:] != there[:-1]
    least = 1 if len(places) <= 3 else 2
    return np.flatnonzero((jumps + np.minimum(gaps, 1) >= least) & (jumps > 0))


def _holes(columns: Sequence[Floats | None], places: list[int], count: int) -> Ints:
    """Samples with which a column begins or ends to have no number."""
    found = np.zeros(count, dtype=np.bool_)
    for place in places:
        values = columns[place]
        assert values is not None
        there = np.isfinite(values)
        if not there.all():
            found[1:] |= there[1:] != there[:-1]
    return np.flatnonzero(found)


class _Table:
    def __init__(self, columns: Sequence[Floats | None], places: list[int], formats: Formats | None) -> None:
        self.columns = columns
        self.places = places
        self.formats = formats
        self.by_value = False  # whether what was last found hangs on the values alone

    def is_out_of(self, rows: Ints, around: Ints) -> bool:
        """Whether any value of these samples lies outside what its own column says around them."""
        for place in self.places:
            seen, now = self._column(place)[around], self._column(place)[rows]
            if not np.isfinite(seen).any():
                continue
            low, high = np.nanmin(seen), np.nanmax(seen)
            room = 0.1 * (high - low)
            with np.errstate(invalid="ignore"):
                if ((now < low - room) | (now > high + room)).any():
                    return True
        return False

    def _column(self, place: int) -> Floats:
        values = self.columns[place]
        assert values is not None
        return values

    def _is_hole(self, place: int, good: Ints, wrong: Ints) -> bool:
        values = self._column(place)
        return bool(np.isnan(values[wrong]).all() and np.isfinite(values[good]).mean() > 0.8)

    def is_back(self, row: int, good: Ints, wrong: Ints) -> bool | None:
        """Whether a sample is written as good ones are again; None where their writing tells nothing apart."""
        holes = [place for place in self.places if self._is_hole(place, good, wrong)]
        if holes:
            # The hole that the others left is still there, or filled again.
            return not all(np.isnan(self._column(place)[row]) for place in holes)
        if self.formats is None or not good.size or not wrong.size:
            return None
        fixed = self.formats.usual(good, self.places)
        if len(set(fixed.values())) < 2:
            return None

        def alike(one: int) -> bool:
            now = self.formats.of(one) if self.formats is not None else ()
            return all(place >= len(now) or now[place] in (None, decimals) for place, decimals in fixed.items())

        return None if alike(int(wrong[0])) else alike(row)

    def is_near(self, row: int, good: Ints) -> bool:
        """Whether a sample goes on where good ones stopped."""
        near = far = 0
        for place in self.places:
            values = self.columns[place]
            assert values is not None
            if np.isfinite(values[row]) and np.isfinite(values[good[-1]]):
                is_far = _far(float(values[row]), float(values[good[-1]]), 0.25)
                far, near = far + is_far, near + (not is_far)
        return near > 0.7 * (near + far)

    def stands_wrongly(self, row: int, good: Ints) -> str:
        """In words how a sample stands wrongly, compared with good ones; "" when it does not."""
        self.by_value = False
        if not good.size:
            return ""
        now = {place: float(self._column(place)[row]) for place in self.places}
        bands = self._bands(good)
        foreign = [place for place in self.places if place in bands and _is_foreign(now[place], bands[place])]
        if self.formats is not None and good.size >= _LEAST_GOOD:
            fixed = self.formats.usual(good, self.places)
            written = self.formats.of(row)
            said = moved_by_format(written, fixed, self.places, self.formats.empty(row), set(foreign))
            odd = [p for p in fixed if written[p : p + 1] not in ((None,), (fixed[p],), ())]
            said = said or (self._pushed(now, bands, odd[0]) if len(odd) == 1 else "")
            if said:
                return said
        said = self._holed(now, bands)
        if said:
            return said
        if not foreign:
            return ""
        self.by_value = True
        said = self._pushed(now, bands, foreign[0])
        if said:
            return said
        jumped = {p for p in self.places if p in bands and _far(now[p], bands[p][2], 0.15)}
        for offset in _OFFSETS:
            moved = [p for p in self.places if p in bands and p - offset in bands and p in jumped
                     and _is_next_to(now[p], bands[p - offset], p in foreign)]  # fmt: skip
            others = [p for p in foreign if p not in moved]
            # One cell that happens to say what its neighbour says is no shift: a part that wakes does that.
            needed = 2
            tail = [p for p in self.places if p >= min(moved, default=0)] if offset else []
            agree = [p for p in tail if p - offset in bands and _fits(now[p], bands[p - offset])]
            if not set(moved) & set(foreign):
                continue
            if len(moved) >= needed and len(others) <= abs(offset) and len(agree) >= 0.6 * (len(tail) - abs(offset)):
                return f"its cells stand {abs(offset)} {'further right' if offset > 0 else 'further left'}"
        if len(foreign) == 2:
            one, two = foreign
            close = not _far(now[one], bands[two][2], 0.1) and not _far(now[two], bands[one][2], 0.1)
            fit = _fits(now[one], bands[two]) and _fits(now[two], bands[one])
            if fit and (close or good.size > _LEAST_GOOD):
                return "two of its cells are exchanged"
        return ""

    def holed(self, row: int, good: Ints) -> str:
        """In words whether the cells of a sample moved on from or to a hole in it; "" when not."""
        now = {place: float(self._column(place)[row]) for place in self.places}
        if good.size <= _FEW or all(value == value for value in now.values()):
            return ""
        return self._holed(now, self._bands(good))

    def _bands(self, good: Ints) -> dict[int, tuple[float, float, float]]:
        bands: dict[int, tuple[float, float, float]] = {}
        for place in self.places:
            seen = self._column(place)[good]
            seen = seen[np.isfinite(seen)]
            if seen.size:
                bands[place] = (float(seen.min()), float(seen.max()), float(seen[-1]))
        return bands

    def _holed(self, now: dict[int, float], bands: dict[int, tuple[float, float, float]]) -> str:
        """Whether the cells between a hole and the end of the row say what their neighbours did just before."""
        places = [place for place in self.places if place in bands]
        for offset in (1, -1):
            for hole in [place for place in places if now[place] != now[place]]:
                if offset < 0 and any(place > hole and now[place] == now[place] for place in places):
                    continue  # cells that moved left leave their hole at the end
                moved = [place for place in places if place > hole] if offset > 0 else []
                place = hole - 1
                while offset < 0 and place in bands and _is_next_to(now[place], bands[place + 1], False):
                    moved.append(place)
                    place -= 1
                if not moved or any(place - offset not in bands for place in moved):
                    continue
                there = [place for place in moved if now[place] == now[place]]
                fits = all(not _far(now[place], bands[place - offset][2], 0.15) for place in there)
                jumped = all(_nearer(now[place], bands[place - offset][2], bands[place][2]) for place in there)
                if there and fits and jumped:
                    return f"its cells stand 1 further {'right' if offset > 0 else 'left'}"
        return ""

    def _pushed(self, now: dict[int, float], bands: dict[int, tuple[float, float, float]], odd: int) -> str:
        """Whether one cell that is none of its column pushed those behind it on: they say what their left neighbours
        did."""
        behind = [place for place in self.places if place > odd and place in bands and place - 1 in bands]
        behind = [place for place in behind if now[place] == now[place]]
        if not behind or any(_far(now[place], bands[place - 1][2], 0.15) for place in behind):
            return ""
        moved = [place for place in behind if _nearer(now[place], bands[place - 1][2], bands[place][2])]
        return "its cells stand 1 further right" if len(moved) * 2 >= len(behind) and moved else ""


def _nearer(value: float, neighbour: float, own: float) -> bool:
    """Whether a value is nearer by far to what the column beside its own just said."""
    return 3 * abs(value - neighbour) < abs(value - own)


def _is_foreign(value: float, band: tuple[float, float, float]) -> bool:
    low, high, last = band
    if value != value:
        return False
    wide = max(high - low, 0.3 * max(abs(low), abs(high)))
    return not low - wide <= value <= high + wide or abs(value - last) > 3 * max(abs(last), high - low)


def _far(value: float, last: float, share: float) -> bool:
    return value == value and abs(value - last) > share * max(abs(value), abs(last))


def _is_next_to(value: float, band: tuple[float, float, float], foreign: bool) -> bool:
    """Whether it continues what a column just said; one foreign to its own need only be within the other's range."""
    return value == value and (not _far(value, band[2], 0.06) or (foreign and _fits(value, band)))


def _fits(value: float, band: tuple[float, float, float]) -> bool:
    if value != value:
        return False
    low, high, last = band
    near = _NEAR * max(abs(last), abs(high), abs(low))
    return low - near <= value <= high + near


def column_values(values: Floats, texts: float) -> Floats | None:
    """A column as `find_shifted` takes it: one of words has no place in it."""
    return None if texts > 0.5 else values
