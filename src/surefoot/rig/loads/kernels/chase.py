"""One step after another through memory, each known only when the one before has arrived."""

from __future__ import annotations

import hashlib
from itertools import repeat

import numpy as np

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

PLACES = 2**18
LONG_STEPS = 200_000
SHORT_STEPS = 10_000


class Chase:
    """A walk through a table that leads through all its places in random order and back to the first.

    The table and what it points at are some ten megabytes of Python's own objects: addresses, tables and jumps that
    nothing can foresee. Where a walk must end is known from the order in which the table was made.
    """

    name = "chase"
    work_unit = "Mstep"
    nominal = 0.2

    def __init__(self) -> None:
        order = np.random.default_rng(7).permutation(PLACES)
        following = np.empty(PLACES, dtype=np.int64)
        following[order] = np.roll(order, -1)
        self._order = order
        self._table: list[int] = following.tolist()

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One walk; returns its steps, in millions. Raises WrongResult."""
        steps = LONG_STEPS if long else SHORT_STEPS
        first = (seed[-1] * 40503) % PLACES
        at, table = int(self._order[first]), self._table
        for _ in repeat(None, steps):
            at = table[at]
        result = bytearray(at.to_bytes(8, "little"))
        tamper(result)
        right = int(self._order[(first + steps) % PLACES])
        if check and int.from_bytes(result, "little") != right:
            raise WrongResult(
                self.name,
                f"a walk of {steps} steps through a table ends at {int.from_bytes(result, 'little')}, not {right}",
                hashlib.sha256(right.to_bytes(8, "little")).hexdigest(),
                hashlib.sha256(bytes(result)).hexdigest(),
            )
        return steps / 1e6
