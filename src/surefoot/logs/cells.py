"""From the cells of one column, as the bulk reader gave them, to numbers; what is none is told with its line."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.measures import Measure, measure
from surefoot.logs.numbers import Decimal, Number, as_boolean, as_number, decimal_votes, is_missing
from surefoot.logs.problems import Ledger
from surefoot.logs.shapes import Shapes, all_digits, digits_at, pieces, text_of
from surefoot.runs import Floats

Objects = NDArray[np.object_]


@dataclass(frozen=True)
class Cells:
    """A column as numbers, shape (n,), NaN where nothing was measured or nothing understood.

    ``bad``: where a cell was not understood; ``measure``: the unit written in the cells (the commonest of its family,
    to which all were brought); ``boolean``: words for yes and no, or nothing but 0 and 1; ``texts``: share of cells
    that are words of no meaning here; ``bare``: cells without a unit where others have one;
    ``strange``: a cell whose unit is one of another quantity, where there are such.
    """

    values: Floats
    bad: NDArray[np.bool_]
    measure: Measure | None = None
    boolean: bool = False
    texts: float = 0.0
    example: str = ""
    bare: int = 0
    strange: str = ""

    def at(self, keep: NDArray[np.bool_]) -> Cells:
        """The cells of some rows."""
        return replace(self, values=self.values[keep], bad=self.bad[keep])


def as_cells(column: NDArray[Any], decimal: Decimal) -> Cells:
    """Numbers of a column given as floats, as bytes of UTF-8, or as objects of numbers, texts and None."""
    if column.dtype.kind == "S":
        return _by_shape(column, decimal)
    if column.dtype != object:
        values = np.asarray(column, dtype=np.float64)
        bad = np.isinf(values)
        if bad.any():
            values = np.where(bad, np.nan, values)
        return Cells(values, bad, boolean=_is_flag(values), example="infinity" if bad.any() else "")
    return _mixed(column, decimal)


def cell_text(column: NDArray[Any], row: int) -> str:
    """The text of one cell, "" for a number or nothing."""
    cell = column[row]
    if isinstance(cell, bytes):
        return cell.decode("utf-8", errors="replace").strip()
    return cell.strip() if isinstance(cell, str) else ""


_PLAIN_SHAPE = re.compile(r"^(-?)([0-9]{1,15})(?:([.,])([0-9]{1,9}))?(?:\s?([^0-9\s].*))?$")


def _by_shape(column: NDArray[np.bytes_], decimal: Decimal) -> Cells:
    """Cells that are nearly all plain numbers, perhaps with a unit behind, or a few words: read shape by shape.

    What is neither goes the way of the mixed column.
    """
    shapes = Shapes.of(column)
    values = np.full(column.size, np.nan)
    measures: list[tuple[Measure | None, NDArray[np.int64]]] = []
    left_over: list[NDArray[np.int64]] = []
    words = False
    own = _own_decimal(column, decimal)
    for first in shapes.examples():
        text = text_of(shapes.codes, first)
        found = _PLAIN_SHAPE.match(text)
        unit = measure(found[5]) if found and found[5] else None
        if found is None or (found[5] and unit is None) or _may_be_grouped(found, own):
            rows, _ = shapes.alike(first, np.zeros(len(pieces(text, shapes.codes)), dtype=np.bool_))
            yes = as_boolean(text)
            if yes is not None and len(text) > 1:
                values[rows] = yes
                words = True
            elif not is_missing(text):
                left_over.append(rows)
            shapes.done(rows)
            shapes.left[first] = False
            continue
        free = np.zeros(len(pieces(text, shapes.codes)), dtype=np.bool_)
        free[found.start(2) : found.end(2)] = True
        if found[4]:
            free[found.start(4) : found.end(4)] = True
        rows, sub = shapes.alike(first, free)
        fits = all_digits(sub, np.flatnonzero(free))
        rows, sub = rows[fits], sub[fits]
        number = digits_at(sub, *found.span(2))
        if found[4]:
            places = found.end(4) - found.start(4)
            # One division of one whole number rounds once, as reading the text would.
            number = (number * 10.0**places + digits_at(sub, *found.span(4))) / 10.0**places
        values[rows] = -number if found[1] else number
        measures.append((unit, rows))
        shapes.done(rows)
        shapes.left[first] = False
    left_over.append(np.flatnonzero(shapes.left))
    units = {unit for unit, _ in measures}
    rest = np.concatenate(left_over) if left_over else np.zeros(0, dtype=np.int64)
    if len(units - {None}) > 1 or (rest.size and words):
        return _mixed(_objects(column), decimal)
    main = next(iter(units - {None}), None)
    if words and not _is_flag(values):
        return _mixed(_objects(column), decimal)  # a word among numbers is none
    bare = sum(int((values[rows] > 0).sum()) for unit, rows in measures if unit is None) if main is not None else 0
    if not rest.size:
        flag = _is_flag(values) and (words or main is None)
        return Cells(values, np.zeros(column.size, dtype=np.bool_), main, flag, bare=bare)
    tail = _mixed(_objects(column[rest]), own, values)
    if tail.measure is not None and tail.measure != main:
        return _mixed(_objects(column), decimal)
    values[rest] = tail.values
    bad = np.zeros(column.size, dtype=np.bool_)
    bad[rest] = tail.bad
    share = float(bad.sum()) / max(1, int(np.isfinite(values).sum() + bad.sum()))
    return Cells(values, bad, main, _is_flag(values) and main is None, share, tail.example, bare)


def _own_decimal(column: NDArray[np.bytes_], decimal: Decimal) -> Decimal:
    """The decimal sign of a column by a spread sample of its cells."""
    some = column[:: max(1, column.size // 100)]
    comma, point, _, _ = decimal_votes(cell_text(some, row) for row in range(some.size))
    return "," if comma > point else "." if point > comma else decimal


def _may_be_grouped(found: re.Match[str], decimal: Decimal) -> bool:
    """Whether the sign in a number is not the column's decimal sign, so that it may set off thousands."""
    return bool(found[3]) and found[3] != decimal


def _objects(column: NDArray[np.bytes_]) -> Objects:
    return np.array([cell.decode("utf-8", errors="replace").strip() for cell in column.tolist()], dtype=object)


def _is_flag(values: Floats) -> bool:
    head = values[:200]
    head = head[np.isfinite(head)]
    if np.any((head != 0) & (head != 1)):
        return False
    there = values[np.isfinite(values)]
    return bool(there.size) and bool(np.all((there == 0) | (there == 1)))


def _mixed(column: Objects, decimal: Decimal, beside: Floats | None = None) -> Cells:
    """Cells of all kinds; ``beside``: numbers of the same column, read already."""
    values = np.full(column.size, np.nan)
    bad = np.zeros(column.size, dtype=np.bool_)
    is_text = np.fromiter((isinstance(cell, str) for cell in column), dtype=np.bool_, count=column.size)
    numbers = np.array([_as_float(cell) for cell in column[~is_text]], dtype=np.float64)
    bad[~is_text] = np.isinf(numbers)
    values[~is_text] = np.where(np.isinf(numbers), np.nan, numbers)
    texts = column[is_text]
    if not texts.size:
        return Cells(values, bad, boolean=_is_flag(values), example="infinity" if bad.any() else "")
    seen: dict[str, int] = {}
    codes = np.fromiter((seen.setdefault(text, len(seen)) for text in texts), dtype=np.int64, count=texts.size)
    spelled = list(seen)
    # One column keeps to one decimal sign: a cell that can only be read one way settles it for the others.
    comma, point, _, _ = decimal_votes(spelled)
    own: Decimal = "," if comma > point else "." if point > comma else decimal
    found: list[Number | None] = []
    words = np.zeros(len(spelled), dtype=np.bool_)
    for place, text in enumerate(spelled):
        number = as_number(text, own)
        if number is None:
            yes = as_boolean(text)
            if yes is not None:
                words[place] = True
                number = Number(yes)
        found.append(number)
    counts = np.bincount(codes, minlength=len(spelled))
    main = _main_measure(found, counts)
    read = np.array([_in_unit(number, main) for number in found])
    empty = np.array([is_missing(text) for text in spelled])
    if words.any():
        numbers = np.concatenate([read[~words], values[~is_text], np.zeros(0) if beside is None else beside])
        if np.any((numbers != 0) & (numbers != 1) & np.isfinite(numbers)):
            read[words] = np.nan  # "on" among temperatures is no 1
            words[:] = False
    values[is_text] = read[codes]
    wrong = np.isnan(read) & ~empty
    bad[is_text] = wrong[codes]
    example = next((text for text, is_wrong in zip(spelled, wrong, strict=True) if is_wrong), "infinity")
    measured = int((~empty[codes]).sum()) + int(np.isfinite(values[~is_text]).sum())
    share = float(bad.sum()) / measured if measured else 0.0
    boolean = _is_flag(values) and (bool(words.any()) or main is None)
    without = np.array([number is not None and number.measure is None and number.value > 0 for number in found])
    without &= ~words
    bare = int(counts[without].sum()) + int((values[~is_text] > 0).sum()) if main is not None else 0
    strange = next((text for text, number in zip(spelled, found, strict=True) if _is_strange(number, main)), "")
    return Cells(values, bad, main, boolean, share, example, bare, strange)


def _as_float(cell: Any) -> float:
    """A cell that is no text; NaN for none. JSON has whole numbers without end: one past what a float holds is as good
    as infinite."""
    try:
        return float(cell)
    except OverflowError:
        return float("inf")
    except (TypeError, ValueError):
        return float("nan")


def _main_measure(found: list[Number | None], counts: NDArray[np.int64]) -> Measure | None:
    tally: Counter[Measure] = Counter()
    for number, count in zip(found, counts, strict=True):
        if number is not None and number.measure is not None:
            tally[number.measure] += int(count)
    return tally.most_common(1)[0][0] if tally else None


def _is_strange(number: Number | None, main: Measure | None) -> bool:
    return bool(number and number.measure and main and number.measure.family != main.family)


def _in_unit(number: Number | None, main: Measure | None) -> float:
    if number is None:
        return float("nan")
    if number.measure is None or main is None or number.measure == main:
        return number.value
    if number.measure.family != main.family:
        return float("nan")
    return (number.value * number.measure.factor + number.measure.offset - main.offset) / main.factor


def tell_bad(cells: Cells, lines: NDArray[np.int64], header: str, ledger: Ledger) -> None:
    """Enter the cells that were not understood."""
    if cells.bad.any():
        places = lines[cells.bad]
        what = "cell not understood" if places.size == 1 else "cells not understood"
        ledger.many(what, places.tolist(), column=header, example=cells.example)
