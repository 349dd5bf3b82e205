"""From the cells of one column, as the bulk reader gave them, to numbers; what is none is told with its line."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats
from surefoot.thermal.logs.measures import Measure
from surefoot.thermal.logs.numbers import Decimal, Number, as_boolean, as_number, decimal_votes, is_missing
from surefoot.thermal.logs.problems import Ledger

Objects = NDArray[np.object_]


@dataclass(frozen=True)
class Cells:
    """A column as numbers, shape (n,), NaN where nothing was measured or nothing understood.

    ``bad``: where a cell was not understood; ``measure``: the unit written in the cells (the commonest of its family,
    to which all were brought); ``boolean``: words for yes and no, or nothing but 0 and 1; ``texts``: share of cells
    that are words of no meaning here.
    """

    values: Floats
    bad: NDArray[np.bool_]
    measure: Measure | None = None
    boolean: bool = False
    texts: float = 0.0
    example: str = ""


def as_cells(column: NDArray[Any], decimal: Decimal) -> Cells:
    """Numbers of a column given as floats, or as objects of numbers, texts and None."""
    if column.dtype != object:
        values = np.asarray(column, dtype=np.float64)
        return Cells(values, np.zeros(values.size, dtype=np.bool_), boolean=_is_flag(values))
    return _mixed(column, decimal)


def _is_flag(values: Floats) -> bool:
    there = values[np.isfinite(values)]
    return bool(there.size) and bool(np.all((there == 0) | (there == 1)))


def _mixed(column: Objects, decimal: Decimal) -> Cells:
    import pandas as pd

    values = np.full(column.size, np.nan)
    bad = np.zeros(column.size, dtype=np.bool_)
    is_text = np.fromiter((isinstance(cell, str) for cell in column), dtype=np.bool_, count=column.size)
    values[~is_text] = pd.to_numeric(pd.Series(column[~is_text], dtype=object), errors="coerce").to_numpy(np.float64)
    texts = column[is_text]
    if not texts.size:
        return Cells(values, bad, boolean=_is_flag(values))
    codes, uniques = pd.factorize(texts)
    spelled = [str(text) for text in uniques]
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
    values[is_text] = read[codes]
    wrong = np.isnan(read) & ~empty
    bad[is_text] = wrong[codes]
    example = next((text for text, is_wrong in zip(spelled, wrong, strict=True) if is_wrong), "")
    measured = int((~empty[codes]).sum()) + int(np.isfinite(values[~is_text]).sum())
    share = float(bad.sum()) / measured if measured else 0.0
    boolean = _is_flag(values) and (bool(words.any()) or main is None)
    return Cells(values, bad, main, boolean, share, example)


def _main_measure(found: list[Number | None], counts: NDArray[np.int64]) -> Measure | None:
    tally: Counter[Measure] = Counter()
    for number, count in zip(found, counts, strict=True):
        if number is not None and number.measure is not None:
            tally[number.measure] += int(count)
    return tally.most_common(1)[0][0] if tally else None


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
