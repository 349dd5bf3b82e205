"""Sweeps through an array: there by steps that can be undone, and back."""

from __future__ import annotations

import hashlib

import numpy as np

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

CACHE_BYTES = 256 << 10
STREAM_BYTES = 48 << 20
SHORT_BYTES = 256 << 10
_MASK = 2**64 - 1


class Sweep:
    """Exclusive-or and addition over a whole array of 64-bit words, some times there and as often back.

    Each step can be undone exactly, so a word that once was wrong is wrong at the end, and the end must be the start.
    ``size``: of the array in bytes; small enough for a core's own cache (``cache``), or so large that it goes through
    the memory (``stream``). ``there``: steps before the way back.
    """

    work_unit = "GB"

    def __init__(self, name: str, size: int, there: int, rounds: int) -> None:
        self.name = name
        self._there = there
        self._rounds = rounds
        self._start = np.random.default_rng(2**31 - 1).integers(0, 2**64, size // 8, dtype=np.uint64)
        self._x = self._start.copy()
        short = min(self._x.size, SHORT_BYTES // 8)
        self._sums = {count: np.add.reduce(self._start[:count]) for count in (short, self._x.size)}
        self.nominal = rounds * there * 4 * 2 * size / 1e9

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """There and back; returns the traffic (each word read and written at each step), in GB. Raises WrongResult."""
        words = self._x.size if long else min(self._x.size, SHORT_BYTES // 8)
        x, start = self._x[:words], self._start[:words]
        rounds = self._rounds if long else min(self._rounds, 4)
        mask = np.uint64((seed[-1] * 0x9E3779B97F4A7C15) & _MASK)
        more = np.uint64((seed[0] * 0xD1B54A32D192ED03 + 1) & _MASK)
        for _ in range(rounds):
            for _ in range(self._there):
                np.bitwise_xor(x, mask, out=x)
                np.add(x, more, out=x)
            for _ in range(self._there):
                np.subtract(x, more, out=x)
                np.bitwise_xor(x, mask, out=x)
        tamper(x)
        # The sum tells whether any word is wrong by any one bit; only then is it looked where.
        if check and np.add.reduce(x) != self._sums[words] and not np.array_equal(x, start):
            wrong = np.flatnonzero(x != start)
            first = int(wrong[0])
            found = hashlib.sha256(x.tobytes()).hexdigest()
            off = int(x[first] ^ start[first])
            # What was wrong must not be wrong again for having been left there.
            x[:] = start
            raise WrongResult(
                self.name,
                f"{wrong.size} of {words} words did not come back from a sweep, the first at {first}, off by the bits "
                f"{off:016x}",
                hashlib.sha256(start.tobytes()).hexdigest(),
                found,
            )
        return rounds * self._there * 4 * 2 * 8.0 * words / 1e9
