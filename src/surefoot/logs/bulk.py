"""The samples of a file as one block of records: regular ones as they stand, irregular ones mended or told."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.lines import Ints, Lines, index_lines, split
from surefoot.logs.problems import Ledger, spans
from surefoot.logs.sections import MANY, refuse_wide
from surefoot.logs.shapes import LONGEST

_MOST_BLANKS = 60
_ORDINARY = 26  # characters of most stamps, with their end
_MOST_LOOKED_AT = 20_000  # records counted one by one


@dataclass(frozen=True)
class Place:
    """Where the cells of regular records lie: records of ``index`` from ``first`` on, all of ``usual`` cells."""

    index: Lines
    first: int
    usual: int
    delimiter: str

    @cached_property
    def grid(self) -> Ints | None:
        """Offsets of the delimiters, shape (n, usual - 1); None where quotes inside cells hide some."""
        start = int(self.index.starts[self.first])
        hits = self.index.delimiters(self.delimiter)
        found = np.flatnonzero(hits[start:]) + start
        rows = len(self.index) - self.first
        return found.reshape(rows, self.usual - 1) if found.size == rows * (self.usual - 1) else None

    def texts(self, column: int) -> NDArray[np.bytes_] | None:
        """The cells of one column as bytes, shape (n,), quotes around them taken off; None when one is too long."""
        if column >= self.usual:
            return None
        starts, ends = self.index.starts[self.first :], self.index.ends[self.first :]
        buffer = np.frombuffer(self.index.data, dtype=np.uint8)
        if column == 0 and self.usual > 1 and not self.index.quoted:
            return self._first_cells(buffer, starts)
        if self.usual > 1:
            grid = self.grid
            if grid is None:
                return None
            if column > 0:
                starts = grid[:, column - 1] + 1
            if column < self.usual - 1:
                ends = grid[:, column]
        if self.index.quoted:
            starts, ends = _without_blanks(buffer, starts, ends)
            safe = np.minimum(starts, buffer.size - 1)
            opened = (buffer[safe] == 34) & (buffer[np.maximum(ends - 1, 0)] == 34) & (ends - starts >= 2)
            starts, ends = starts + opened, ends - opened
        longest = max(1, int((ends - starts).max()))
        if longest > LONGEST:
            return None
        return _as_bytes(_windows(buffer, starts, longest), ends - starts)

    def _first_cells(self, buffer: NDArray[np.uint8], starts: Ints) -> NDArray[np.bytes_] | None:
        """The first cells end at the first delimiter: no need to know the others."""
        for width in (_ORDINARY, LONGEST + 1):
            codes = _windows(buffer, starts, width)
            ended = codes == ord(self.delimiter)
            lengths = ended.argmax(axis=1)
            if ended[np.arange(lengths.size), lengths].all():
                return _as_bytes(codes[:, : max(1, int(lengths.max()))], lengths)
        return None


def _without_blanks(buffer: NDArray[np.uint8], starts: Ints, ends: Ints) -> tuple[Ints, Ints]:
    """Cells without the blanks around them, so that their quotes stand first and last."""
    for _ in range(_MOST_BLANKS):
        led = (starts < ends) & (buffer[np.minimum(starts, buffer.size - 1)] == 32)
        trailed = (starts + led < ends) & (buffer[np.maximum(ends - 1, 0)] == 32)
        if not led.any() and not trailed.any():
            break
        starts, ends = starts + led, ends - trailed
    return starts, ends


def _windows(buffer: NDArray[np.uint8], starts: Ints, width: int) -> NDArray[np.uint8]:
    """``width`` bytes from each start, shape (n, width), zeros past the end of the buffer."""
    codes = np.zeros((starts.size, width), dtype=np.uint8)
    whole = int(np.searchsorted(starts, buffer.size - width, side="right"))
    if whole:
        codes[:whole] = np.lib.stride_tricks.sliding_window_view(buffer, width)[starts[:whole]]
    for row in range(whole, starts.size):
        left = buffer[starts[row] :]
        codes[row, : left.size] = left
    return codes


def _as_bytes(codes: NDArray[np.uint8], lengths: Ints) -> NDArray[np.bytes_]:
    width = codes.shape[1]
    codes = np.ascontiguousarray(codes)
    if int(lengths.min()) < width:
        codes[np.arange(width) >= lengths[:, None]] = 0
    return codes.view(f"S{width}").reshape(lengths.size)


@dataclass(frozen=True)
class Block:
    """Records to be read, all of them with at most ``width`` cells.

    ``data``: their bytes; ``lines``: the line of each, shape (n,); ``place``: where their cells lie, None when not all
    have as many; ``quoted``: quotes stand in it.
    """

    data: bytes | memoryview
    lines: Ints
    width: int
    place: Place | None = None
    quoted: bool = True

    @property
    def is_whole(self) -> bool:
        """Whether it is the rest of the file as it stands, nothing mended or left out."""
        return isinstance(self.data, memoryview)

    def cells(self, row: int) -> list[str]:
        """The cells of one record; none where they cannot be had so."""
        if self.place is None:
            return []
        return split(self.place.index.text(self.place.first + row), self.place.delimiter)

    def texts(self, column: int) -> NDArray[np.bytes_] | None:
        """The cells of one column as bytes, shape (n,); None when they cannot be had so."""
        return self.place.texts(column) if self.place is not None and self.lines.size else None


@dataclass(frozen=True)
class Shape:
    """What the header and the first samples say of the records: ``width`` of the table, ``usual`` cells of a record,
    ``named``: cells of the header, more than which no record may fill, None where there is no header."""

    delimiter: str
    width: int
    usual: int
    first: int
    titles: tuple[int, ...]
    named: int | None = None

    @property
    def most(self) -> int:
        """The most cells that a record may fill."""
        return self.width if self.named is None else self.named


def gather(lines: Lines, shape: Shape, ledger: Ledger, preamble: frozenset[str], uneven: Ints | None = None) -> Block:
    """The records from the first sample on as one block; repeated headers and blanks left out, short records filled.

    ``uneven``: the only records that may have another number of cells than the usual, where that is known."""
    if shape.first >= len(lines):
        return Block(b"", np.zeros(0, dtype=np.int64), shape.width)
    fields = _fields(lines, shape, uneven)
    repeated = _repeats(lines, shape)
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
        place = Place(lines, shape.first, shape.usual, shape.delimiter)
        return Block(data, lines.numbers[shape.first :], shape.width, place, lines.quoted)
    if fields is None:
        fields = np.full(len(lines), shape.usual, dtype=np.int64)
    return _mended(lines, shape, ledger, preamble, odd_places, set(repeated.tolist()), fields)


def _fields(lines: Lines, shape: Shape, uneven: Ints | None) -> Ints | None:
    """Cells of every record, shape (n,); None when all from the first sample on have the usual number."""
    if uneven is None or uneven.size > _MOST_LOOKED_AT:
        hits = lines.delimiters(shape.delimiter)
        return None if lines.all_have(hits, shape.first, shape.usual - 1) else lines.fields(hits)
    if not uneven.size:
        return None
    fields = np.full(len(lines), shape.usual, dtype=np.int64)
    for record in uneven.tolist():
        text = lines.text(record)
        fields[record] = len(split(text.replace('"', "") if lines.stray[record] else text, shape.delimiter))
    return fields


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
    long_records: list[int] = []
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
        if len(cells) > shape.most and any(cells[shape.most :]):
            long_lines.append(number)
            long_records.append(here)
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
                # A cell may be missing anywhere in it: which one belongs where cannot be told.
                short_lines.append(number)
                continue
            # Where the file breaks off, its last cell is in doubt: what stands there may be half a number.
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
    if len(long_records) > MANY * (len(lines) - shape.first) and len(long_records) > 1:
        refuse_wide(lines, shape.delimiter, long_records[0], shape.most)
    if narrow:
        few = [int(line) for line in lines.numbers[shape.first :][np.isin(fields[shape.first :], list(narrow))]]
        ledger.ask(
            f"{len(few)} lines have {min(narrow)} cells where others have {shape.usual}: taken as the last not written",
            line=few[0],
        )
    _tell(ledger, title_lines, long_lines, short_lines, plain_lines, stray_lines, blanks, example, shape)
    joined = np.concatenate(numbers) if numbers else np.zeros(0, dtype=np.int64)
    data = b"".join(pieces)
    place = None
    quoted = b'"' in data
    if data:
        index = index_lines(data)
        if len(index) == joined.size and index.all_have(index.delimiters(shape.delimiter), 0, shape.usual - 1):
            place = Place(index, 0, shape.usual, shape.delimiter)
    return Block(data.removesuffix(b"\n"), joined, shape.width, place, quoted)


def _narrow_rows(fields: Ints, shape: Shape) -> set[int]:
    """Numbers of cells below the usual that many records have, so that they are whole: empty ends were not written."""
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
    if title_lines:
        ledger.note(f"the header is repeated at {spans(title_lines)}.")
    if blanks:
        ledger.note(f"{blanks} blank lines among the samples were left out.")
    ledger.many(f"more than {shape.most} cells: the line was left out", long_lines, example=example)
    ledger.many(f"fewer than {shape.usual} cells: the line was left out", short_lines)
    ledger.many("not a sample: the line was left out", plain_lines, example=example)
    ledger.many("a quotation mark that is never closed: the line was read without it", stray_lines)
