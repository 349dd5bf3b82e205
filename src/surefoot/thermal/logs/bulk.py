"""The samples of a file in one go: regular records as they stand, irregular ones mended or told, all by one parser."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.thermal.logs.lines import Ints, Lines, index_lines, split
from surefoot.thermal.logs.numbers import Decimal
from surefoot.thermal.logs.problems import Ledger
from surefoot.thermal.logs.shapes import LONGEST


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
class Block:
    """Records to be read, all of them with at most ``width`` cells.

    ``data``: their bytes; ``lines``: the line of each, shape (n,); ``usual``: cells of an ordinary record; ``index`` and
    ``grid``: where they lie in ``index.data`` from record ``first`` on, where all have ``usual`` cells.
    """

    data: bytes | memoryview
    lines: Ints
    width: int
    usual: int
    index: Lines | None = None
    first: int = 0
    grid: Ints | None = None

    def texts(self, place: int) -> NDArray[np.bytes_] | None:
        """The cells of one column as bytes, shape (n,), quotes and blanks around them left; None when too long."""
        if self.index is None or self.grid is None or place >= self.usual:
            return None
        rows = self.lines.size
        starts = self.index.starts[self.first :] if place == 0 else self.grid[:, place - 1] + 1
        ends = self.index.ends[self.first :] if place == self.usual - 1 else self.grid[:, place]
        buffer = np.frombuffer(self.index.data, dtype=np.uint8)
        if self.index.quoted and rows:
            safe = np.minimum(starts, buffer.size - 1)
            opened = (buffer[safe] == 34) & (buffer[np.maximum(ends - 1, 0)] == 34) & (ends - starts >= 2)
            starts, ends = starts + opened, ends - opened
        lengths = ends - starts
        longest = int(lengths.max()) if rows else 1
        if longest > LONGEST or longest * rows > 400_000_000:
            return None
        longest = max(1, longest)
        codes = np.zeros((rows, longest), dtype=np.uint8)
        whole = starts + longest <= buffer.size
        if buffer.size >= longest:
            windows = np.lib.stride_tricks.sliding_window_view(buffer, longest)
            codes[whole] = windows[starts[whole]]
        for row in np.flatnonzero(~whole):
            codes[row, : lengths[row]] = buffer[starts[row] : ends[row]]
        if int(lengths.min()) < longest:
            codes[np.arange(longest) >= lengths[:, None]] = 0
        return codes.view(f"S{longest}").reshape(rows)


@dataclass(frozen=True)
class Parse:
    """How to read the cells. ``as_text``: columns that are no plain numbers (dates, words, grouped digits, units, the
    other decimal sign); ``empties``: spellings of a missing value seen in the file; ``blanks``: cells begin with blanks.
    """

    delimiter: str
    decimal: Decimal
    as_text: frozenset[int]
    empties: tuple[str, ...]
    blanks: bool


def read_columns(block: Block, parse: Parse) -> list[NDArray[Any]]:
    """The columns of a block, each of shape (n,): floats where every cell is a number or missing, bytes for the columns
    asked for as text, else objects."""
    rows = block.lines.size
    if not rows:
        return [np.zeros(0) for _ in range(block.width)]
    columns: dict[int, NDArray[Any]] = {}
    for place in parse.as_text:
        texts = block.texts(place)
        if texts is not None:
            columns[place] = texts
    wanted = [place for place in range(block.width) if place not in columns]
    if wanted:
        columns.update(_parsed(block, parse, wanted))
    return [columns[place] for place in range(block.width)]


def _parsed(block: Block, parse: Parse, wanted: list[int]) -> dict[int, NDArray[Any]]:
    import warnings

    import pandas as pd

    # A quote inside a cell may hide a delimiter from the parser that our index saw: one column more catches it.
    spare = 1 if block.index is None or block.index.quoted else 0
    source: Any = Memory(block.data)
    try:
        with warnings.catch_warnings():
            # Columns of numbers and words come mixed, chunk by chunk; that is wanted here and no cause to warn.
            warnings.simplefilter("ignore")
            frame = pd.read_csv(
                source,
                header=None,
                names=range(block.width + spare),
                usecols=[*wanted, *range(block.width, block.width + spare)],
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
        return _one_by_one(block, parse.delimiter, wanted)
    if len(frame) != block.lines.size or (spare and frame[block.width].notna().any()):
        return _one_by_one(block, parse.delimiter, wanted)
    return {place: _plain(frame[place]) for place in wanted}


def _plain(series: Any) -> NDArray[Any]:
    if series.dtype == bool:
        return np.asarray(series.to_numpy(), dtype=np.float64)
    if series.dtype.kind in "iuf":
        return np.asarray(series.to_numpy(), dtype=np.float64)
    return np.asarray(series.to_numpy(dtype=object, na_value=None), dtype=object)


def _one_by_one(block: Block, delimiter: str, wanted: list[int]) -> dict[int, NDArray[Any]]:
    """The slow way for what the parser will not take: every record split by itself, every cell a text."""
    index = index_lines(bytes(block.data))
    rows = [split(index.text(record), delimiter) for record in range(len(index))][: block.lines.size]
    rows += [[]] * (block.lines.size - len(rows))
    return {
        place: np.array([row[place] if place < len(row) else None for row in rows], dtype=object) for place in wanted
    }


@dataclass(frozen=True)
class Shape:
    """What the header and the first samples say of the records: ``width`` of the table, ``usual`` cells of a record."""

    delimiter: str
    width: int
    usual: int
    first: int
    titles: tuple[int, ...]


def gather(lines: Lines, shape: Shape, ledger: Ledger, preamble: frozenset[str]) -> Block:
    """The records from the first sample on as one block; repeated headers and blanks left out, short records filled."""
    if shape.first >= len(lines):
        return Block(b"", np.zeros(0, dtype=np.int64), shape.width, shape.usual)
    places = lines.delimiters(shape.delimiter)
    grid = lines.grid(places, shape.first, shape.usual)
    repeated = _repeats(lines, shape)
    fields = lines.fields(places) if grid is None else None
    odd = np.zeros(len(lines), dtype=np.bool_)
    odd[shape.first :] = lines.stray[shape.first :]
    if fields is not None:
        odd[shape.first :] |= fields[shape.first :] != shape.usual
    odd[repeated] = True
    if lines.cut:
        odd[-1] = True
    if shape.delimiter == "":
        odd[shape.first :] |= lines.ends[shape.first :] == lines.starts[shape.first :]
    odd_places = np.flatnonzero(odd)
    if not odd_places.size:
        data = memoryview(lines.data)[int(lines.starts[shape.first]) : int(lines.ends[-1])]
        return Block(data, lines.numbers[shape.first :], shape.width, shape.usual, lines, shape.first, grid)
    if fields is None:
        fields = lines.fields(places)
    return _mended(lines, shape, ledger, preamble, odd_places, set(repeated.tolist()), fields)


def _repeats(lines: Lines, shape: Shape) -> Ints:
    """Records below the first sample that say the same as a header record."""
    lengths = lines.ends - lines.starts
    found: list[int] = []
    for title in shape.titles:
        text = lines.data[lines.starts[title] : lines.ends[title]].strip()
        if not text:
            continue
        likely = np.flatnonzero((lengths >= len(text)) & (lengths <= len(text) + 2))
        likely = likely[likely >= shape.first]
        if likely.size > 64:
            buffer = np.frombuffer(lines.data, dtype=np.uint8)
            likely = likely[buffer[lines.starts[likely]] == lines.data[lines.starts[title]]]
        found += [int(here) for here in likely if lines.data[lines.starts[here] : lines.ends[here]].strip() == text]
    return np.array(sorted(set(found)), dtype=np.int64)


def _mended(
    lines: Lines,
    shape: Shape,
    ledger: Ledger,
    preamble: frozenset[str],
    odd_places: Ints,
    repeated: set[int],
    fields: Ints,
) -> Block:
    pieces: list[bytes] = []
    numbers: list[Ints] = []
    long_lines: list[int] = []
    short_lines: list[int] = []
    plain_lines: list[int] = []
    title_lines: list[int] = []
    stray_lines: list[int] = []
    blanks = 0
    example = ""
    narrow = _narrow_rows(fields, shape)
    cursor = shape.first
    for here in [*odd_places.tolist(), len(lines)]:
        if here > cursor:
            pieces.append(lines.data[lines.starts[cursor] : lines.ends[here - 1]] + b"\n")
            numbers.append(lines.numbers[cursor:here])
        cursor = here + 1
        if here == len(lines):
            break
        number = int(lines.numbers[here])
        text = lines.text(here)
        last = here == len(lines) - 1
        if here in repeated:
            title_lines.append(number)
            continue
        if not text.strip().strip(shape.delimiter or " ").strip():
            blanks += 1
            continue
        stray = bool(lines.stray[here])
        cells = split(text.replace('"', "") if stray else text, shape.delimiter)
        if stray:
            stray_lines.append(number)
        if len(cells) > shape.width and any(cells[shape.width :]):
            long_lines.append(number)
            example = example or text
            continue
        cut = last and lines.cut
        if len(cells) < shape.usual and len(cells) not in narrow:
            if len(cells) < 2 and shape.usual > 1:
                if text.strip() in preamble:
                    title_lines.append(number)
                elif cut:
                    ledger.problem(f"the last line was cut off: {text[:40]!r} was left out.", line=number)
                else:
                    plain_lines.append(number)
                    example = example or text
                continue
            if cut:
                ledger.problem(
                    f"the last line was cut off after {len(cells)} of {shape.usual} cells; the last cell was left out.",
                    line=number,
                )
            else:
                short_lines.append(number)
            # Where a record breaks off, its last cell is in doubt: what stands there may be half a number.
            cells[-1] = ""
        elif cut and _doubtful(lines, here, cells, shape):
            ledger.problem(
                f"the file ends without a line end: its last cell, {cells[-1]!r}, may be cut off and was left out.",
                line=number,
            )
            cells[-1] = ""
        cells = (cells + [""] * shape.width)[: max(shape.usual, len(cells))][: shape.width]
        pieces.append(_joined(cells, shape.delimiter) + b"\n")
        numbers.append(np.array([number], dtype=np.int64))
    _tell(ledger, title_lines, long_lines, short_lines, plain_lines, stray_lines, blanks, example, shape)
    joined = np.concatenate(numbers) if numbers else np.zeros(0, dtype=np.int64)
    data = b"".join(pieces)
    index = index_lines(data) if data else None
    grid = None
    if index is not None:
        grid = index.grid(index.delimiters(shape.delimiter), 0, shape.usual) if len(index) == joined.size else None
        data = data.removesuffix(b"\n")
    return Block(data, joined, shape.width, shape.usual, index, 0, grid)


def _narrow_rows(fields: Ints, shape: Shape) -> set[int]:
    """Numbers of cells below the usual that so many records have that they are whole: empty cells at the end unwritten."""
    body = fields[shape.first :]
    values, counts = np.unique(body, return_counts=True)
    return {
        int(value)
        for value, count in zip(values, counts, strict=True)
        if value == shape.usual - 1 and count > 0.02 * body.size and count > 2
    }


def _doubtful(lines: Lines, last: int, cells: list[str], shape: Shape) -> bool:
    """Whether the last cell of a file without a last line end may be half of one.

    It is whole when it is at least as long as any before it in its column, or has their fixed number of decimals.
    """
    cell = cells[-1]
    if len(cells) > shape.usual or not cell:
        return False
    before = []
    for here in range(max(shape.first, last - 200), last):
        row = split(lines.text(here), shape.delimiter)
        if len(row) == len(cells):
            before.append(row[-1])
    if not before:
        return False
    if cell in before and not cell[-1:].isdigit():
        return False
    if len(cell) >= max(len(other) for other in before):
        return False
    decimals = {len(other.replace(",", ".").partition(".")[2]) for other in before}
    return not (len(decimals) == 1 and 0 not in decimals and len(cell.replace(",", ".").partition(".")[2]) in decimals)


def _joined(cells: list[str], delimiter: str) -> bytes:
    quoted = [f'"{cell}"' if delimiter and delimiter in cell else cell for cell in (c.replace('"', "") for c in cells)]
    return delimiter.join(quoted).encode("utf-8", errors="replace")


def _tell(
    ledger: Ledger,
    title_lines: list[int],
    long_lines: list[int],
    short_lines: list[int],
    plain_lines: list[int],
    stray_lines: list[int],
    blanks: int,
    example: str,
    shape: Shape,
) -> None:
    from surefoot.thermal.logs.problems import spans

    if title_lines:
        ledger.note(f"the header is repeated at {spans(title_lines)}.")
    if blanks:
        ledger.note(f"{blanks} blank lines among the samples were left out.")
    ledger.many(f"more than {shape.width} cells: the line was left out", long_lines, example=example)
    ledger.many(f"fewer than {shape.usual} cells: the line breaks off, its last cell was left out", short_lines)
    ledger.many("not a sample: the line was left out", plain_lines, example=example)
    ledger.many("a quotation mark that is never closed: the line was read without it", stray_lines)
