"""A trace as compact blocks of bytes, and back, exactly to the stated grid.

A block holds some consecutive samples of a fixed list of columns: the time and the channels. Its *layout* says for
each column how it is packed; many blocks share one layout. Values are fixed point: stored as the integer
``value * 10**places`` less a base of the block's own (frame of reference), in the narrowest of 1, 2, 4 or 8 bytes that
the block's range needs, little-endian, the lowest integer of that width meaning "not measured". ``places`` is the
smallest number of decimals that keeps every value exactly, and at most:

    6 for the time in seconds; 4 for volts (0.1 mV); 3 for every other quantity (0.001 of the canonical unit).

So what a sensor tells in whole degrees, MHz or rpm, flags, counts and reason bits come back exactly, and anything
finer is rounded to the grid. A column out of the range of whole numbers that a double holds (2**52 on the grid), or
with an infinity in it, is kept as 8-byte doubles, unrounded.

Bytes of a block: the bases, each in 0, 2, 4 or 8 bytes as its column says, those of 8 bytes first and within one size
in the layout's order; zeros up to a multiple of 8; then each column's samples in the layout's order, which is by
descending width so that every column is aligned; zeros up to a multiple of 8. The base is the block's least integer;
what is stored is the integer less the base, less half the range of the width.

Not compressed further: zlib took 13 to 32 % off a day's trace (that of tests/benchmarks/trace_store.py) and made
reading it four times slower.
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
# Half of what a double holds exactly, so that a base with half a range added to it is exact too.
_EXACT = float(2**52)
_PLACES = {"V": 4}
_BASE_SIZES = (8, 4, 2)


@dataclass(frozen=True, slots=True)
class Column:
    """How one column is packed.

    ``width``: bytes a sample, or `FLOAT`; ``places``: decimals; ``base``: bytes of the base.
    """

    name: str
    places: int
    width: int
    base: int

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
    return _head_bytes(layout) + _up_to_8(samples * sum(column.bytes_each for column in layout))


def _head_bytes(layout: Layout) -> int:
    return _up_to_8(sum(column.base for column in layout))


def _up_to_8(length: int) -> int:
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
    head = b"".join(
        base.to_bytes(size, "little", signed=True)
        for size in _BASE_SIZES
        for column, base, _ in packed
        if column.base == size
    )
    body = b"".join(data for _, _, data in packed)
    samples = len(next(iter(columns.values())))
    return layout, (head.ljust(_head_bytes(layout), b"\0") + body).ljust(block_bytes(layout, samples), b"\0")


def _pack(name: str, values: Floats, before: Column | None) -> tuple[Column, int, bytes]:
    missing = np.isnan(values)
    measured = values[~missing] if missing.any() else values
    least = before.places if before else 0
    if before is not None and before.width == FLOAT:
        return before, 0, values.astype("<f8").tobytes()
    places, units = _on_grid(measured, least, max(finest_places(name), least))
    if units is None:
        return Column(name, places, FLOAT, 0), 0, values.astype("<f8").tobytes()
    low, high = (int(units.min()), int(units.max())) if units.size else (0, 0)
    width = next(size for size in (1, 2, 4, 8) if high - low <= 2 ** (8 * size) - 2)
    if before is not None:
        width = max(width, before.width)
    if width == 8:
        low = 0
    size = 0 if width == 8 else next(size for size in (2, 4, 8) if -(2 ** (8 * size - 1)) <= low < 2 ** (8 * size - 1))
    if before is not None and width == before.width:
        size = max(size, before.base)
    # The lowest integer of the width is kept free for "not measured".
    dtype = _DTYPES[width]
    stored = np.full(values.size, np.iinfo(dtype).min, dtype=dtype)
    stored[~missing] = (units - low - _half(width)).astype(dtype)
    return Column(name, places, width, size), low, stored.tobytes()


def _half(width: int) -> int:
    """What is taken off beside the base, so that the whole signed range of a width but its lowest value is used."""
    return 0 if width == 8 else 2 ** (8 * width - 1) - 1


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
    if set(map(len, blocks)) != {length}:
        raise ValueError("a block of a trace has the wrong length")
    count = len(blocks)
    raw = np.frombuffer(blocks[0] if count == 1 else b"".join(blocks), dtype=np.uint8).reshape(count, length)
    bases = _bases(layout, raw)
    # Which block a sample is from. With one block a single number does.
    block_of = np.repeat(np.arange(count), samples) if count > 1 else None
    place = _head_bytes(layout)
    for column in layout:
        size = samples * column.bytes_each
        # One opaque item a block, gathered by a plain copy: with few samples a block it is the overhead that counts.
        stored = np.ascontiguousarray(raw[:, place : place + size]).view(_DTYPES[column.width]).reshape(-1)
        place += size
        target = into[column.name][start : start + samples * count]
        if column.width in (FLOAT, 8):
            target[:] = stored
        elif block_of is None:
            np.add(stored, float(bases[column.name][0]), out=target, dtype=np.float64)
        else:
            np.take(bases[column.name], block_of, out=target, mode="clip")
            target += stored
        if column.places:
            # Divided, not multiplied by 0.001: the quotient is the double nearest to the decimal number.
            target /= 10.0**column.places
        if column.width != FLOAT:
            lowest = np.iinfo(_DTYPES[column.width]).min
            if stored.min() == lowest:
                target[stored == lowest] = np.nan


def _bases(layout: Layout, raw: NDArray[np.uint8]) -> dict[str, Floats]:
    """What is to be added to the stored integers of each column, block by block."""
    found: dict[str, Floats] = {}
    place = 0
    for size in _BASE_SIZES:
        for column in layout:
            if column.base == size:
                base = np.ascontiguousarray(raw[:, place : place + size]).view(_DTYPES[size]).reshape(-1)
                found[column.name] = base + float(_half(column.width))
                place += size
    return found
