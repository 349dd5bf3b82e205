"""The memory that a worker holds: taken piece by piece while there is enough left, given back when there is not."""

from __future__ import annotations

import mmap
from collections.abc import Callable
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.kernels.base import Tamper, WrongResult, leave_alone
from surefoot.rig.loads.memory.patterns import TILE_WORDS, Filling, Maker

CHUNK_BYTES = 64 << 20
TILE_BYTES = 8 * TILE_WORDS
MOST_TOLD = 8


class Chunk:
    """A piece of memory from the system itself, so that it goes back to the system when it is let go."""

    def __init__(self, size: int) -> None:
        self._map = mmap.mmap(-1, size)
        if hasattr(mmap, "MADV_HUGEPAGE"):
            with suppress(OSError):
                self._map.madvise(mmap.MADV_HUGEPAGE)
        self.words: NDArray[np.uint64] = np.frombuffer(self._map, dtype=np.uint64)

    def release(self) -> None:
        """Give it back."""
        del self.words
        self._map.close()


class Field:
    """Chunks, each with what it is filled with.

    ``target``: bytes to take; ``headroom``: bytes to leave to the rest; ``available``: bytes that can be had now.
    """

    def __init__(
        self, target: int, headroom: int, available: Callable[[], int], chunk_bytes: int = CHUNK_BYTES
    ) -> None:
        self._target, self._headroom, self._available = target, headroom, available
        self._chunk_bytes = max(TILE_BYTES, min(chunk_bytes, target) // TILE_BYTES * TILE_BYTES)
        self._chunks: list[tuple[Chunk, Filling]] = []
        self._maker = Maker()
        self.released = 0

    @property
    def size(self) -> int:
        """Bytes held."""
        return len(self._chunks) * self._chunk_bytes

    @property
    def count(self) -> int:
        """Chunks held."""
        return len(self._chunks)

    def grow(self, filling: Filling) -> bool:
        """Take one more chunk and fill it. Returns whether that was done: not past the target or the headroom."""
        if self.size + self._chunk_bytes > self._target or self.released:
            return False
        if self._available() < self._headroom + self._chunk_bytes:
            self._target = self.size
            return False
        chunk = Chunk(self._chunk_bytes)
        first = self.count * (self._chunk_bytes // TILE_BYTES)
        for tile in range(self._chunk_bytes // TILE_BYTES):
            self._maker.tile(filling, first + tile, chunk.words[tile * TILE_WORDS : (tile + 1) * TILE_WORDS])
        self._chunks.append((chunk, filling))
        return True

    def give_way(self) -> bool:
        """Give one chunk back when less than half the headroom is left. Returns whether that was done."""
        if not self._chunks or self._available() >= self._headroom // 2:
            return False
        self.release_one()
        return True

    def release_one(self) -> None:
        """Give the last chunk back, and take no more."""
        chunk, _ = self._chunks.pop()
        chunk.release()
        self.released += 1

    def sweep(self, number: int, new: Filling, down: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """Check one chunk against what it was filled with and fill it anew, ascending or descending.

        Returns the traffic (each word read once and written once), in GB. Raises WrongResult with the first wrong
        places as offsets in bytes from the start of this worker's memory, and the bits that were wrong.
        """
        chunk, old = self._chunks[number]
        tiles = self._chunk_bytes // TILE_BYTES
        first = number * tiles
        order = range(tiles - 1, -1, -1) if down else range(tiles)
        for tile in order:
            words = chunk.words[tile * TILE_WORDS : (tile + 1) * TILE_WORDS]
            if check:
                expected = self._maker.tile(old, first + tile)
                tamper(words)
                if not np.array_equal(words, expected):
                    found, expected = words.copy(), expected.copy()
                    # Filled as it was, so that the chunk can be done again from the start.
                    for each in range(tiles):
                        part = chunk.words[each * TILE_WORDS : (each + 1) * TILE_WORDS]
                        self._maker.tile(old, first + each, part)
                    raise _wrong(found, expected, (first + tile) * TILE_BYTES, old)
            self._maker.tile(new, first + tile, words)
        self._chunks[number] = (chunk, new)
        return 2.0 * self._chunk_bytes / 1e9


def _wrong(found: NDArray[np.uint64], expected: NDArray[np.uint64], offset: int, filling: Filling) -> WrongResult:
    places = np.flatnonzero(found != expected)
    bits = found ^ expected
    told = ", ".join(f"{offset + 8 * int(place):#x} (bits {int(bits[place]):016x})" for place in places[:MOST_TOLD])
    more = f" and {places.size - MOST_TOLD} more" if places.size > MOST_TOLD else ""
    first = int(places[0]) if places.size else 0
    return WrongResult(
        "memory",
        f"{places.size} words of memory filled with {filling.words} are wrong, at byte offsets {told}{more}",
        f"{int(expected[first]):016x}",
        f"{int(found[first]):016x}",
    )
