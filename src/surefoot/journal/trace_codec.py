"""A trace as compact blocks of bytes, and back, exactly to the stated grid.

A block holds some consecutive samples of a fixed list of columns: the time and the channels. Its *layout* says for
each column how it is packed; many blocks share one layout. Values are fixed point: stored as the integer
``value * 10**places`` less a base of the block's own (frame of reference), in the narrowest of 1, 2, 4 or 8 bytes that
the block's range needs, little-endian, the lowest integer of that width meaning "not measured". ``places`` is the
smallest number of decimals that keeps every value exactly, and at most:

    6 for the time in seconds; 4 for volts (0.1 mV); 3 for every other quantity (0.001 of the canonical unit).

So what a sensor tells in whole degrees, MHz or rpm, flags, counts and reason bits come back exactly, and anything
finer is rounded to the grid. A column out of the range of whole numbers that a double holds (2**53 on the grid), or
with an infinity in it, is kept as 8-byte doubles, unrounded.

Bytes of a block: one int64 base a column, in the layout's order; then each column's samples, in the layout's order,
which is by descending width so that every column is aligned; zeros up to a multiple of 8.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Channel, Floats

TIME = "seconds"
FLOAT = 0
"""Width code of a column kept as doubles."""

_DTYPES: dict[int, np.dtype[Any]] = {
    1: np.dtype("<i1"),
    2: np.dtype("<i2"),
    4: np.dtype("<i4"),
    8: np.dtype("<i8"),
    FLOAT: np.dtype("<f8"),
}
_EXACT = float(2**53)
_PLACES = {"V": 4}
_RANK = {1: 0, 2: 1, 4: 2, 8: 3, FLOAT: 4}


@dataclass(frozen=True, slots=True)
class Column:
    """How one column is packed. ``width``: bytes a sample, or `FLOAT`; ``places``: decimals of the grid."""

    name: str
    places: int
    width: int

    @property
    def bytes_each(self) -> int:
        """Bytes of one sample."""
        return _DTYPES[self.width].itemsize


Layout = tuple[Column, ...]


def finest_places(name: str) -> int:
    """Decimals of the finest grid of a column."""
    return 6 if name == TIME else _PLACES.get(Channel.parse(name).unit, 3)


def block_bytes(layout: Layout, samples: int) -> int:
    """Length of a block."""
    length = 8 * len(layout) + samples * sum(column.bytes_each for column in layout)
    return -(-length // 8) * 8


def encode(columns: Mapping[str, Floats], at_least: Mapping[str, Column] | None = None) -> tuple[Layout, bytes]:
    """Pack columns of one length (n,), n >= 1, the time among them, into a block; NaN means not measured.

    ``at_least``: columns as packed before; none is packed narrower or coarser than there, so that the blocks of a run
    soon share one layout and are read back together.
    """
    packed: list[tuple[Column, int, bytes]] = []
    for name, values in columns.items():
        packed.append(_pack(name, np.ascontiguousarray(values, dtype=np.float64), (at_least or {}).get(name)))
    packed.sort(key=lambda item: (-item[0].bytes_each, item[0].name))
    layout = tuple(column for column, _, _ in packed)
    bases = np.array([base for _, base, _ in packed], dtype="<i8").tobytes()
    body = bases + b"".join(data for _, _, data in packed)
    samples = len(next(iter(columns.values())))
    return layout, body.ljust(block_bytes(layout, samples), b"\0")


def _pack(name: str, values: Floats, before: Column | None) -> tuple[Column, int, bytes]:
    measured = values[~np.isnan(values)]
    least = before.places if before else 0
    if before is not None and before.width == FLOAT:
        return Column(name, least, FLOAT), 0, values.astype("<f8").tobytes()
    finest = max(finest_places(name), least)
    places, units = _on_grid(measured, least, finest)
    if units is None:
        return Column(name, places, FLOAT), 0, values.astype("<f8").tobytes()
    low, high = (int(units.min()), int(units.max())) if units.size else (0, 0)
    width = next(w for w in (1, 2, 4, 8) if high - low <= 2 ** (8 * w) - 2)
    if before is not None:
        width = max(width, before.width)
    column = Column(name, places, width)
    # The lowest integer of the width is kept free for "not measured"; 8 bytes never need a base.
    base = 0 if width == 8 else low + 2 ** (8 * width - 1) - 1
    dtype = _DTYPES[width]
    stored = np.full(values.size, np.iinfo(dtype).min, dtype=dtype)
    stored[~np.isnan(values)] = (units - base).astype(dtype)
    return column, base, stored.tobytes()


def _on_grid(measured: Floats, least: int, finest: int) -> tuple[int, NDArray[np.int64] | None]:
    """The fewest decimals that keep every value exactly, at most ``finest``, and the values as integers there."""
    if not measured.size:
        return least, np.empty(0, dtype=np.int64)
    largest = float(np.max(np.abs(measured)))
    if not largest * 10.0**finest < _EXACT:
        # Whole numbers may still fit where decimals would not.
        whole = np.rint(measured) if largest < _EXACT else measured
        if least == 0 and largest < _EXACT and np.array_equal(whole, measured):
            return 0, whole.astype(np.int64)
        return least, None
    for places in range(least, finest + 1):
        units = np.rint(measured * 10.0**places)
        if places == finest or np.array_equal(units / 10.0**places, measured):
            return places, units.astype(np.int64)
    raise AssertionError("unreachable")  # pragma: no cover


def decode(layout: Layout, samples: int, blocks: Sequence[bytes], into: Mapping[str, Floats], start: int) -> None:
    """Unpack blocks of one layout and one number of samples, in order, into arrays by column name from ``start`` on.

    ``into`` holds arrays of at least ``start + samples * len(blocks)``; they are filled in place.
    Raises ValueError for a block whose length is not that of the layout.
    """
    length = block_bytes(layout, samples)
    if any(len(block) != length for block in blocks):
        raise ValueError("a block of a trace has the wrong length")
    count = len(blocks)
    raw = np.frombuffer(blocks[0] if count == 1 else b"".join(blocks), dtype=np.uint8).reshape(count, length)
    bases = raw[:, : 8 * len(layout)].view("<i8")
    place = 8 * len(layout)
    for index, column in enumerate(layout):
        size = samples * column.bytes_each
        stored = raw[:, place : place + size].view(_DTYPES[column.width])
        place += size
        target = into[column.name][start : start + samples * count].reshape(count, samples)
        if column.width == FLOAT:
            target[...] = stored
            continue
        if column.width == 8:
            target[...] = stored
        else:
            np.add(stored, bases[:, index, None], out=target, casting="unsafe", dtype=np.float64)
        if column.places:
            # Divided, not multiplied by 0.001: the quotient is the double nearest to the decimal number.
            target /= 10.0**column.places
        lowest = np.iinfo(_DTYPES[column.width]).min
        if stored.min() == lowest:
            target[stored == lowest] = np.nan
