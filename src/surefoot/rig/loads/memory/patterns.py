"""What memory is filled with: patterns of 64-bit words that follow from the place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.uint64]

TILE_WORDS = 32 << 10
"""Words that are made and compared at once: 256 KiB, so that what is expected stays in a core's own cache."""
KINDS = ("random bits", "addresses", "a walking one", "alternating bits", "rows of ones and zeros")
ROW_WORDS = (512, 1024, 128, 256)
_MASK = 2**64 - 1


@dataclass(frozen=True, slots=True)
class Filling:
    """One pattern. ``kind``: number in `KINDS`; ``seed``: of this filling; ``inverted``; ``row``: words in a row."""

    kind: int
    seed: int
    inverted: bool = False
    row: int = 512

    @property
    def words(self) -> str:
        """For a reader."""
        of_rows = f" of {8 * self.row} bytes" if self.kind == 4 else ""
        return f"{KINDS[self.kind]}{of_rows}{', inverted' if self.inverted else ''}"


def filling_at(number: int, seed: int) -> Filling:
    """Filling number so-and-so of a run: each kind, then its inverse (moving inversions), seeded afresh each time."""
    which, inverted = divmod(number, 2)
    kind = which % len(KINDS)
    row = ROW_WORDS[which // len(KINDS) % len(ROW_WORDS)]
    return Filling(kind, (seed * 0x9E3779B97F4A7C15 + which) & _MASK, bool(inverted), row)


class Maker:
    """Makes the words of any tile of any filling, in one pass over a buffer of its own."""

    def __init__(self) -> None:
        random = np.random.default_rng(64)
        self._random = random.integers(0, 2**64, TILE_WORDS, dtype=np.uint64)
        self._count = np.arange(TILE_WORDS, dtype=np.uint64)
        walking = np.uint64(1) << (np.arange(TILE_WORDS + 64, dtype=np.uint64) % np.uint64(64))
        self._walking = walking
        self._out = np.empty(TILE_WORDS, dtype=np.uint64)

    def tile(self, filling: Filling, tile: int, out: Words | None = None) -> Words:
        """The words of tile number ``tile`` (counted from the start of this worker's memory)."""
        out = self._out if out is None else out
        turn = np.uint64(_MASK if filling.inverted else 0)
        if filling.kind == 0:
            key = ((tile + 1) * 0xD1B54A32D192ED03 ^ filling.seed) & _MASK
            np.bitwise_xor(self._random, np.uint64(key) ^ turn, out=out)
            return out
        if filling.kind == 1:
            np.add(self._count, np.uint64((tile * TILE_WORDS + filling.seed) & _MASK), out=out)
            np.bitwise_xor(out, turn, out=out)
            return out
        if filling.kind == 2:
            start = (tile + filling.seed) % 64
            np.bitwise_xor(self._walking[start : start + TILE_WORDS], turn, out=out)
            return out
        if filling.kind == 3:
            out[:] = np.uint64(0x5555555555555555) ^ turn
            return out
        np.floor_divide(self._count, np.uint64(filling.row), out=out)
        np.bitwise_and(out, np.uint64(1), out=out)
        np.multiply(out, np.uint64(_MASK), out=out)
        np.bitwise_xor(out, turn, out=out)
        return out
