"""Where the records of a file lie: an index over its bytes, found without splitting it."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
_PIECE = 1 << 18
LONGEST_RECORD = 20  # physical lines that one quoted record may span


@dataclass(frozen=True)
class Lines:
    """Records of a UTF-8 file.

    ``starts``, ``ends``: byte offsets, shape (n,), line ends left out; ``numbers``: the 1-based physical line each
    starts on; ``stray``: has a quote that is never closed; ``cut``: the last has no line end.
    """

    data: bytes
    starts: Ints
    ends: Ints
    numbers: Ints
    stray: NDArray[np.bool_]
    quoted: bool
    cut: bool

    def __len__(self) -> int:
        return int(self.starts.size)

    def text(self, index: int) -> str:
        """One record as text."""
        return self.data[self.starts[index] : self.ends[index]].decode("utf-8", errors="replace")

    def delimiters(self, delimiter: str) -> NDArray[np.bool_]:
        """Which bytes are delimiters outside quotes, shape (bytes,)."""
        buffer = np.frombuffer(self.data, dtype=np.uint8)
        if not delimiter:
            return np.zeros(buffer.size, dtype=np.bool_)
        hits: NDArray[np.bool_] = buffer == ord(delimiter)
        if self.quoted:
            quotes = buffer == ord('"')
            for index in np.flatnonzero(self.stray):
                quotes[self.starts[index] : self.ends[index]] = False
            hits &= ~np.logical_xor.accumulate(quotes)
        return hits

    def all_have(self, hits: NDArray[np.bool_], first: int, count: int) -> bool:
        """Whether every record from ``first`` on has the same count of delimiters.

        The counts of single records are had in bytes, so modulo 256, which is many times faster; with the count of all
        only a record with 256 too many beside one with 256 too few could pass.
        """
        rows = len(self) - first
        start = int(self.starts[first])
        if int(np.count_nonzero(hits[start:])) != rows * count:
            return False
        counts = np.add.reduceat(hits[start:].view(np.int8), self.starts[first:] - start, dtype=np.int8)
        return bool(np.all(counts.view(np.uint8) == count % 256))

    def fields(self, hits: NDArray[np.bool_]) -> Ints:
        """Cells of every record, given which bytes are delimiters. Shape (n,)."""
        places = np.flatnonzero(hits)
        return np.searchsorted(places, self.ends) - np.searchsorted(places, self.starts) + 1


def index_lines(data: bytes, first_line: int = 1) -> Lines:
    """Index a UTF-8 file, its first line being ``first_line``.

    A record goes on over a line end only inside quotes that are closed within a few lines.
    """
    buffer = np.frombuffer(data, dtype=np.uint8)
    breaks = _places(buffer, 10)
    starts = np.concatenate([np.zeros(1, dtype=np.int64), breaks + 1])
    ends = np.concatenate([breaks, np.full(1, len(data), dtype=np.int64)])
    cut = bool(starts[-1] < len(data))
    if not cut:
        starts, ends = starts[:-1], ends[:-1]
    if b"\r" in data:
        has_return = (ends > starts) & (buffer[np.maximum(ends - 1, 0)] == 13)
        ends = ends - has_return
    numbers = np.arange(first_line, first_line + starts.size, dtype=np.int64)
    stray = np.zeros(starts.size, dtype=np.bool_)
    quoted = b'"' in data
    if quoted:
        places = np.flatnonzero(buffer == 34)
        odd = np.flatnonzero((np.searchsorted(places, ends) - np.searchsorted(places, starts)) % 2)
        keep = np.ones(starts.size, dtype=np.bool_)
        position = 0
        while position < odd.size:
            here = odd[position]
            following = odd[position + 1] if position + 1 < odd.size else None
            if following is not None and following - here < LONGEST_RECORD and _opens(data, starts[here], ends[here]):
                keep[here + 1 : following + 1] = False
                ends[here] = ends[following]
                position += 2
            else:
                stray[here] = True
                position += 1
        starts, ends, numbers, stray = starts[keep], ends[keep], numbers[keep], stray[keep]
    return Lines(data, starts, ends, numbers, stray, quoted, cut)


def _places(buffer: NDArray[np.uint8], code: int) -> Ints:
    """Where a byte stands, looked for in pieces that stay in the processor's cache."""
    found = [np.flatnonzero(buffer[at : at + _PIECE] == code) + at for at in range(0, buffer.size, _PIECE)]
    return np.concatenate([np.zeros(0, dtype=np.int64), *found])


def _opens(data: bytes, start: int, end: int) -> bool:
    """Whether the last quote of a line stands at the start of a field, as an opening one must."""
    line = data[start:end].rstrip()
    place = line.rindex(b'"')
    return place == 0 or line[:place].rstrip()[-1:] in (b",", b";", b"\t", b"|", b"~", b"")


def split(record: str, delimiter: str) -> list[str]:
    """The cells of a record, quotes taken off, blanks around them stripped."""
    if not delimiter:
        cells = [record]
    elif '"' not in record:
        cells = record.split(delimiter)
    else:
        try:
            cells = next(csv.reader([record.replace("\n", " ")], delimiter=delimiter, skipinitialspace=True), [])
        except csv.Error:
            cells = record.split(delimiter)
    if '"' in record:
        return [cell.strip().strip('"').strip() for cell in cells]
    return [cell.strip() for cell in cells]
