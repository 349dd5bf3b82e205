"""Cells of a column as rows of character codes, so that all of one shape are read together."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.lines import Ints
from surefoot.runs import Floats

Codes = NDArray[Any]
LONGEST = 48
_MOST_SHAPES = 60


def as_codes(column: NDArray[Any]) -> Codes:
    """Cells as character codes, shape (n, longest), zeros after the end; blanks around a cell are taken off.

    ``column``: bytes of UTF-8 (dtype S), or objects of which those that are no text count as empty.
    """
    if column.dtype.kind == "S":
        if _has_blanks(column):
            column = np.char.strip(column)
        return column.view(np.uint8).reshape(column.size, column.dtype.itemsize)
    texts = np.array([cell.strip()[: LONGEST + 1] if isinstance(cell, str) else "" for cell in column], dtype=str)
    width = max(1, texts.dtype.itemsize // 4)
    return np.ascontiguousarray(texts).view(np.uint32).reshape(texts.size, width)


def _has_blanks(column: NDArray[Any]) -> bool:
    codes = column.view(np.uint8).reshape(column.size, column.dtype.itemsize)
    if not codes.size:
        return False
    if (codes[:, 0] == 32).any():
        return True
    ends = np.maximum((codes != 0).sum(axis=1) - 1, 0)
    return bool((codes[np.arange(column.size), ends] == 32).any())


def text_of(codes: Codes, row: int) -> str:
    """One cell as text."""
    cell = codes[row]
    if cell.dtype == np.uint8:
        return bytes(cell[cell != 0]).decode("utf-8", errors="replace")
    return "".join(chr(code) for code in cell if code)


def pieces(cell: str, codes: Codes) -> list[int]:
    """The codes of a text as a row of ``codes`` holds them: bytes of UTF-8, or characters."""
    return list(cell.encode("utf-8")) if codes.dtype == np.uint8 else [ord(char) for char in cell]


@dataclass
class Shapes:
    """Walks through the shapes of a column. ``left``: rows not yet read, shape (n,)."""

    codes: Codes
    left: NDArray[np.bool_]

    @classmethod
    def of(cls, column: NDArray[Any]) -> Shapes:
        """All cells with something in them."""
        codes = as_codes(column)
        return cls(codes, (codes[:, 0] != 0) if codes.size else np.zeros(codes.shape[0], dtype=np.bool_))

    def examples(self, most: int = _MOST_SHAPES) -> Iterator[int]:
        """The first row not yet read, again and again, until all are read or too many shapes have been seen."""
        for _ in range(most):
            if not self.left.size:
                return
            first = int(self.left.argmax())
            if not self.left[first]:
                return
            yield first

    def alike(self, row: int, free: NDArray[np.bool_]) -> tuple[Ints, Codes]:
        """(rows, their codes) of cells of the row's length that have its characters wherever ``free`` is not set."""
        length = free.size
        end = self.codes[:, length] == 0 if length < self.codes.shape[1] else np.ones(self.left.size, dtype=np.bool_)
        rows = np.flatnonzero(self.left & end)
        sub = self.codes[rows, :length]
        fits = (sub[:, ~free] == self.codes[row, :length][~free]).all(axis=1)
        # A digit of a shorter cell's zero padding is no digit: every free place must hold a character.
        fits &= (sub[:, -1] != 0) if length else True
        return rows[fits], sub[fits]

    def done(self, rows: Ints) -> None:
        """Mark rows as read."""
        self.left[rows] = False


def digits_at(sub: Codes, start: int, end: int) -> Floats:
    """The whole number that stands at some places of every row, shape (n,)."""
    total = sub[:, start].astype(np.float64) - 48.0
    for place in range(start + 1, end):
        total = total * 10.0 + (sub[:, place].astype(np.float64) - 48.0)
    return total


def all_digits(sub: Codes, places: Ints) -> NDArray[np.bool_]:
    """Where every one of the places holds a digit, shape (n,)."""
    chosen = sub[:, places]
    return np.asarray(((chosen >= 48) & (chosen <= 57)).all(axis=1), dtype=np.bool_)
