"""Matrix products, proven by Freivalds' test and compared to the last bit."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.kernels.base import Seed, Tamper, WrongResult, leave_alone

# Whole numbers of up to 26 and 18 bits: long mantissas switch many transistors, and n of at most 1024 keeps every sum
# below 2**53, so that double precision is exact whatever the order of the additions.
LARGEST_A, LARGEST_B = 2**25, 2**17
VECTORS = 4
LONG_SIZES = (1024, 768, 512)
SHORT_SIZE = 256


@dataclass(frozen=True, slots=True)
class Pair:
    """Two matrices, where their product goes, and the sum of each row of the right product's bits (modulo 2**64)."""

    a: NDArray[np.float64]
    b: NDArray[np.float64]
    c: NDArray[np.float64]
    sums: NDArray[np.uint64]


class Matrix:
    """Products of matrices of whole numbers held in double precision: vectors as wide as the library can.

    Each pair's product is proven once: A(Bx) = Cx for random x, in whole numbers modulo 2**64, at n squared cost
    (Freivalds 1977, Probabilistic machines can use less running time). An entry that is wrong by d passes with a
    random x with a chance of the power of two in d by 2**64, below 2**-11, so ``VECTORS`` of them let it pass with less
    than 2**-44. Every product after that must have the same bits: the sum of each row's 64-bit words is compared,
    which no single wrong bit and hardly any other change leaves as it was, and which reads the product once.
    """

    name = "matrix"
    work_unit = "GFLOP"
    nominal = 0.27

    def __init__(self, cache_bytes: int = 0) -> None:
        random = np.random.default_rng(1977)
        self._long = [self._pair(random, long_size(cache_bytes))]
        self._short = [self._pair(random, SHORT_SIZE)]

    def _pair(self, random: np.random.Generator, n: int) -> Pair:
        a = random.integers(-LARGEST_A, LARGEST_A + 1, (n, n), dtype=np.int64)
        b = random.integers(-LARGEST_B, LARGEST_B + 1, (n, n), dtype=np.int64)
        one, other = a.astype(np.float64), b.astype(np.float64)
        c = one @ other
        x = random.integers(0, 2**64, (n, VECTORS), dtype=np.uint64)
        expected = a.view(np.uint64) @ (b.view(np.uint64) @ x)
        whole = np.isfinite(c).all() and (c == np.rint(c)).all() and (np.abs(c) < 2**53).all()
        found = c.astype(np.int64).view(np.uint64) @ x if whole else None
        if found is None or not np.array_equal(expected, found):
            raise WrongResult(
                self.name,
                f"the first product of two {n} by {n} matrices of whole numbers failed Freivalds' test",
                hashlib.sha256(expected.tobytes()).hexdigest(),
                _digest(c),
            )
        return Pair(one, other, c, _row_sums(c))

    def run(self, seed: Seed, long: bool, tamper: Tamper = leave_alone, check: bool = True) -> float:
        """One product with its check; returns 2 n**3 floating-point operations, in GFLOP. Raises WrongResult."""
        pairs = self._long if long else self._short
        pair = pairs[seed[-1] % len(pairs)]
        n = pair.c.shape[0]
        np.matmul(pair.a, pair.b, out=pair.c)
        tamper(pair.c)
        if check and not np.array_equal(found := _row_sums(pair.c), pair.sums):
            rows = np.flatnonzero(found != pair.sums)
            spoiled = pair.c.copy()
            again = pair.a @ pair.b
            raise WrongResult(
                self.name,
                f"a product of two {n} by {n} matrices of whole numbers differs in {rows.size} of {n} rows, "
                f"the first being row {int(rows[0])}",
                _digest(again) if np.array_equal(_row_sums(again), pair.sums) else _digest(pair.sums),
                _digest(spoiled),
            )
        return 2.0 * float(n) ** 3 / 1e9


def long_size(cache_bytes: int) -> int:
    """The largest size whose three matrices fit a processor's share of the last cache; the smallest where none does.

    Larger products are faster as long as they fit: of plain products with two processors of a server 1024 did 10 % more
    than 512, with 16 of them at work 512 did most. Not measured at the start: a speed must mean the same in every run.
    """
    return next((n for n in LONG_SIZES if 3 * 8 * n * n <= cache_bytes), LONG_SIZES[-1])


def _row_sums(values: NDArray[np.float64]) -> NDArray[np.uint64]:
    sums: NDArray[np.uint64] = np.add.reduce(values.view(np.uint64), axis=1)
    return sums


def _digest(values: NDArray[np.float64] | NDArray[np.uint64]) -> str:
    return hashlib.sha256(values.tobytes()).hexdigest()
