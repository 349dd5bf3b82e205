"""The cells of a block as columns: numbers by one fast parser, all else as texts from where they lie."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.bulk import Block
from surefoot.logs.lines import index_lines, split
from surefoot.logs.numbers import Decimal

Column = NDArray[Any]
FEW_CELLS = 20_000
"""So few are read without the parser."""
_PIECE = 1 << 18
WORTH_A_THREAD = 2_000_000  # bytes; below this, starting ahead gains nothing


class Memory:
    """Bytes that the parser reads from. A bare reader hands it bytes; a text or byte stream would be recoded first."""

    def __init__(self, data: bytes | memoryview) -> None:
        self._data = memoryview(data)
        self._place = 0

    def read(self, size: int = -1) -> bytes:
        """The next ``size`` bytes, all that is left when negative."""
        end = len(self._data) if size is None or size < 0 else self._place + size
        piece = bytes(self._data[self._place : end])
        self._place += len(piece)
        return piece

    def __iter__(self) -> Iterator[bytes]:
        return iter(bytes(self._data[self._place :]).splitlines(keepends=True))

    def __next__(self) -> bytes:
        raise StopIteration


@dataclass(frozen=True)
class Parse:
    """How to read the cells.

    ``as_text``: columns that are no plain numbers (dates, words, grouped digits, units, the other decimal sign);
    ``empties``: spellings of a missing value seen in the file; ``blanks``: cells begin with blanks; ``taken_out``:
    bytes of the units behind the numbers, which are taken out before these are parsed.
    """

    delimiter: str
    decimal: Decimal
    as_text: frozenset[int]
    empties: tuple[str, ...]
    blanks: bool
    taken_out: bytes = b""


class Columns(Sequence[Column]):
    """The columns of a block, each of shape (n,): floats where every cell is a number or missing, bytes for the columns
    asked for as text, else objects of numbers, texts and None. The numbers are waited for when first asked for."""

    def __init__(self, block: Block, parse: Parse, ahead: Future[Any] | None = None) -> None:
        self._block = block
        self._parse = parse
        self._ahead = ahead
        self._found: dict[int, Column] = {}
        for place in parse.as_text:
            texts = block.texts(place) if block.lines.size else None
            if texts is not None:
                self._found[place] = texts

    def __len__(self) -> int:
        return self._block.width

    def __getitem__(self, place: Any) -> Any:
        if place not in self._found:
            if not 0 <= place < len(self):
                raise IndexError(place)
            self._read()
        return self._found[place]

    def __iter__(self) -> Iterator[Column]:
        return (self[place] for place in range(len(self)))

    def _read(self) -> None:
        block = self._block
        if not block.lines.size:
            self._found = {place: np.zeros(0) for place in range(block.width)}
            return
        wanted = [place for place in range(block.width) if place not in self._found]
        if block.lines.size * block.width <= FEW_CELLS:
            self._found.update(_few(block, self._parse.delimiter, wanted))
            return
        frame = self._ahead.result() if self._ahead is not None and block.is_whole else None
        if frame is not None and not set(wanted) <= set(frame.columns):
            frame = None
        if frame is None:
            frame = _frame(block.data, block.width, self._parse, wanted, int(block.quoted))
        spare = block.width in frame.columns if frame is not None else False
        if frame is None or len(frame) != block.lines.size or (spare and frame[block.width].notna().any()):
            self._found.update(_one_by_one(block, self._parse.delimiter, wanted))
        else:
            self._found.update({place: _plain(frame[place]) for place in wanted})


def read_ahead(
    pool: ThreadPoolExecutor, data: memoryview, width: int, parse: Parse, quoted: bool
) -> Future[Any] | None:
    """Begin to parse the numbers of records that seem to be regular, while the records are still being looked at.

    The parser lets other threads work meanwhile. What it finds is used only where every record proves regular.
    """
    wanted = [place for place in range(width) if place not in parse.as_text]
    if len(data) < WORTH_A_THREAD or not wanted:
        return None
    return pool.submit(_frame, data, width, parse, wanted, int(quoted))


def _frame(data: bytes | memoryview, width: int, parse: Parse, wanted: list[int], spare: int) -> Any:
    """A DataFrame of the columns wanted, named by their places; None for what the parser will not take.

    ``spare``: 1 for a column more, which catches a delimiter that a quote inside a cell hid from our index.
    """
    import pandas as pd

    source: Any = Memory(_without(data, parse.taken_out) if parse.taken_out else data)
    try:
        return pd.read_csv(
            source,
            header=None,
            names=range(width + spare),
            # A column past the last of the file may be named but not asked for: with a spare one, all are read.
            usecols=None if spare else wanted,
            index_col=False,
            sep=parse.delimiter or "\x1f",
            decimal=parse.decimal,
            dtype={place: object for place in wanted if place in parse.as_text},
            # Each spelling costs time on every cell: only those that were seen; others are settled cell by cell.
            na_values=list(parse.empties),
            skipinitialspace=parse.blanks,
            skip_blank_lines=False,
            encoding_errors="replace",
            engine="c",
        )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, OverflowError, UnicodeDecodeError):
        # Columns that the header names but no line has cannot be asked for either: then all are read.
        return None if spare else _frame(data, width, parse, wanted, 1)


def _without(data: bytes | memoryview, codes: bytes) -> bytes:
    """Bytes without some, in pieces that stay in the processor's cache."""
    view = memoryview(data)
    return b"".join(bytes(view[at : at + _PIECE]).translate(None, codes) for at in range(0, len(view), _PIECE))


class Quiet:
    """Columns of numbers and words come mixed, chunk by chunk; that is wanted here and no cause to warn."""

    def __init__(self) -> None:
        self._caught = warnings.catch_warnings()

    def __enter__(self) -> None:
        self._caught.__enter__()
        warnings.simplefilter("ignore")

    def __exit__(self, *error: object) -> None:
        self._caught.__exit__(*error)  # type: ignore[arg-type]


def _plain(series: Any) -> NDArray[Any]:
    if series.dtype == bool:
        return np.asarray(series.to_numpy(), dtype=np.float64)
    if series.dtype.kind in "iuf":
        return np.asarray(series.to_numpy(), dtype=np.float64)
    return np.asarray(series.to_numpy(dtype=object, na_value=None), dtype=object)


def _few(block: Block, delimiter: str, wanted: list[int]) -> dict[int, NDArray[Any]]:
    """Columns of a small log as texts, from where they lie: the parser would take longer to be loaded."""
    found = {place: texts for place in wanted if (texts := block.texts(place)) is not None}
    rest = [place for place in wanted if place not in found]
    return {**found, **(_one_by_one(block, delimiter, rest) if rest else {})}


def _one_by_one(block: Block, delimiter: str, wanted: list[int]) -> dict[int, NDArray[Any]]:
    """The slow way for what the parser will not take: every record split by itself, every cell a text."""
    index = index_lines(bytes(block.data))
    rows = [split(index.text(record), delimiter) for record in range(len(index))][: block.lines.size]
    rows += [[]] * (block.lines.size - len(rows))
    return {
        place: np.array([row[place] if place < len(row) else None for row in rows], dtype=object) for place in wanted
    }
