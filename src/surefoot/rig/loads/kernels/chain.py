"""Long chains of 64-bit whole-number arithmetic in vectors, with ends that are known without going through them."""

from __future__ import annotations

import hashlib

import numpy as np

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone
from surefoot.rig.loads.strides import jump

LANES = 2048
LONG_ROUNDS = 4000
SHORT_ROUNDS = 250
_MASK = 2**64 - 1


class Chain:
    """Multiply and add modulo 2**64, thousands of times in ``LANES`` chains at once, in the first-level cache.

    An odd multiplier loses no bit, so a wrong step anywhere ends elsewhere.
    """

    name = "chain"
    work_unit = "Gop"
    nominal = 0.016

    def __init__(self) -> None:
        self._start = np.random.default_rng(1994).integers(0, 2**64, LANES, dtype=np.uint64)
        self._x = np.empty_like(self._start)

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One chain; returns two operations a step and lane, in billions. Raises WrongResult."""
        rounds = LONG_ROUNDS if long else SHORT_ROUNDS
        m = (seed[0] * 0x9E3779B97F4A7C15 + seed[-1] * 2) & _MASK | 1
        k = (seed[0] ^ 0xD1B54A32D192ED03) & _MASK | 1
        x = self._x
        x[:] = self._start
        step_m, step_k = np.uint64(m), np.uint64(k)
        multiply, add = np.multiply, np.add
        for _ in range(rounds):
            multiply(x, step_m, out=x)
            add(x, step_k, out=x)
        tamper(x)
        if check:
            all_m, all_k = jump(rounds, m, k, 64)
            right = self._start * np.uint64(all_m) + np.uint64(all_k)
            if not np.array_equal(x, right):
                wrong = np.flatnonzero(x != right)
                raise WrongResult(
                    self.name,
                    f"{wrong.size} of {LANES} chains of {rounds} multiplications and additions end elsewhere, the "
                    f"first being chain {int(wrong[0])}",
                    hashlib.sha256(right.tobytes()).hexdigest(),
                    hashlib.sha256(x.tobytes()).hexdigest(),
                )
        return 2.0 * rounds * LANES / 1e9
