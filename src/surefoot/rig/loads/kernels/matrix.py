"""Matrix products, checked by Freivalds' test."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult

LARGEST_ENTRY = 64
VECTORS = 24
LONG_SIZES = (384, 512, 640)
SHORT_SIZE = 160


class Matrix:
    """Products of matrices of small whole numbers held in double precision.

    Every entry and every partial sum is a whole number far below 2**53, so that a right product is exact whatever
    the order of the additions, and the check needs no tolerance. Freivalds' test: A(Bx) = Cx for a random x of 0s and
    1s misses a wrong C with a chance of at most 1/2, so ``VECTORS`` of them miss it with at most 2**-24, at n squared
    cost (Freivalds 1977, Probabilistic machines can use less running time). An entry that is no whole number is wrong
    at sight: a flip of a low bit leaves a fraction that the sums of the test would round away.
    """

    name = "matrix"
    work_unit = "GFLOP"
    nominal = 0.25

    def run(self, seed: Seed, long: bool, tamper: Tamper) -> float:
        """One product with its check; returns 2 n**3 floating-point operations, in GFLOP. Raises WrongResult."""
        n = LONG_SIZES[seed[-1] % len(LONG_SIZES)] if long else SHORT_SIZE
        random = np.random.default_rng(seed)
        a, b = random.integers(-LARGEST_ENTRY, LARGEST_ENTRY + 1, (2, n, n), dtype=np.int8).astype(np.float64)
        c = a @ b
        tamper(c)
        broken = np.flatnonzero(c.reshape(-1) != np.rint(c.reshape(-1)))
        if broken.size:
            row, column = divmod(int(broken[0]), n)
            raise WrongResult(
                self.name,
                f"a product of two {n} by {n} matrices of whole numbers has {broken.size} entries that are none, the "
                f"first in row {row}, column {column}: {c[row, column]!r}",
                _digest(a @ b),
                _digest(c),
            )
        x = random.integers(0, 2, (n, VECTORS), dtype=np.int8).astype(np.float64)
        expected = a @ (b @ x)
        found = c @ x
        if not np.array_equal(expected, found):
            rows = np.flatnonzero(np.any(expected != found, axis=1))
            raise WrongResult(
                self.name,
                f"a product of two {n} by {n} matrices of whole numbers failed Freivalds' test in "
                f"{rows.size} of {n} rows, the first being row {int(rows[0])}",
                _digest(expected),
                _digest(found),
            )
        return 2.0 * n**3 / 1e9


def _digest(values: NDArray[np.float64]) -> str:
    return hashlib.sha256(values.tobytes()).hexdigest()
