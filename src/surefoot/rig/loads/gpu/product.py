"""Matrix products on the graphics card."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.gpu.device import RING, Device, Report, Work
from surefoot.rig.loads.gpu.kernels import Batch, Flip, judge_words
from surefoot.rig.loads.gpu.shaders import COMPARE
from surefoot.rig.loads.gpu.tiles import SMALL, Tile, product_shader
from surefoot.rig.loads.kernels.base import WrongResult

LARGEST_ENTRY = 4
VECTORS = 24
_SINGLE = float(np.finfo(np.float32).eps) / 2


class Product:
    """Products of square matrices in single precision, compared bit for bit.

    That the kernel is right is proven with whole numbers: entries of at most ``LARGEST_ENTRY`` and n of at most 4096
    keep every sum below 2**24, so that single precision is exact whatever the order, and Freivalds' test (1977) on the
    processor needs no tolerance. What it then multiplies for hours are random numbers with full mantissas, because
    small whole numbers switch few transistors. Each lane adds in a fixed order, so a right result is the same to the
    last bit each time; the two references lie within what rounding may do to them (Higham, Accuracy and Stability of
    Numerical Algorithms, gamma n times |A||B|), and every later product is compared with them word by word on the
    card. Two right-hand matrices take turns, so that a product that was never done leaves the other's result and is
    found out.
    """

    name = "product"
    work_unit = "GFLOP"
    nominal = 1000.0
    most_passes = RING

    def __init__(self, device: Device, n: int, seed: int, tile: Tile = SMALL) -> None:
        if n * LARGEST_ENTRY**2 >= 2**24 or not tile.fits(n, device.shared):
            raise ValueError(f"n must be a multiple of the tile and keep sums exact, got {n} for {tile.name}")
        self._device = device
        self.n, self.tile = n, tile
        self.groups = (n // tile.rows) * (n // tile.columns)
        self._compare_groups = n * n // 4096
        self._random = np.random.default_rng(seed)

    def prove(self) -> None:
        """Prove the kernel on whole numbers, then make the two references."""
        device, n = self._device, self.n
        self._product = device.pipeline(product_shader(self.tile, n))
        self._compare = device.pipeline(COMPARE)
        self._c = device.buffer(4 * n * n)
        whole = self._random.integers(-LARGEST_ENTRY, LARGEST_ENTRY + 1, (2, n, n), dtype=np.int8).astype(np.float32)
        found = self._once(whole[0], whole[1])
        self._freivalds(whole[0], whole[1], found)
        a = _random(self._random, n)
        self.a = device.filled(a.T)
        self.pairs = []
        for _ in range(2):
            b = _random(self._random, n)
            right = self._once(a, b)
            self._plausible(a, b, right)
            self.pairs.append((device.filled(b), device.filled(right)))
        self._bound = [device.bind(self._product, self.a, b, self._c) for b, _ in self.pairs]
        self._checks = [device.bind(self._compare, self._c, right, device.report) for _, right in self.pairs]

    def _once(self, a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
        device, n = self._device, self.n
        one, other = device.filled(a.T), device.filled(b)
        device.submit(device.work().run(self._product, device.bind(self._product, one, other, self._c), self.groups))
        found: NDArray[np.float32] = device.get(self._c, np.float32).reshape(n, n)
        one.destroy()
        other.destroy()
        return found

    def _freivalds(self, a: NDArray[np.float32], b: NDArray[np.float32], found: NDArray[np.float32]) -> None:
        n = self.n
        x = self._random.integers(0, 2, (n, VECTORS)).astype(np.float32)
        # Sums of n entries below 2**24 / n times another n: in double precision exact.
        expected = a.astype(np.float64) @ (b.astype(np.float64) @ x.astype(np.float64))
        got = found.astype(np.float64) @ x.astype(np.float64)
        if not np.array_equal(found, np.rint(found)) or not np.array_equal(expected, got):
            raise WrongResult(
                self.name,
                f"the first product of {n} by {n} matrices of whole numbers failed Freivalds' test on the processor",
                hashlib.sha256(expected.tobytes()).hexdigest(),
                hashlib.sha256(got.tobytes()).hexdigest(),
            )

    def _plausible(self, a: NDArray[np.float32], b: NDArray[np.float32], found: NDArray[np.float32]) -> None:
        """Rows taken at random must lie within what rounding may do."""
        n = self.n
        rows = self._random.choice(n, size=min(n, 64), replace=False)
        left = a[rows].astype(np.float64)
        exact, size = left @ b, np.abs(left) @ np.abs(b)
        error = np.abs(found[rows] - exact)
        allowed = n * _SINGLE / (1 - n * _SINGLE) * size
        if not np.all(error <= allowed):
            raise WrongResult(
                self.name,
                f"a reference product of two {n} by {n} matrices is off by more than rounding allows",
                hashlib.sha256(exact.tobytes()).hexdigest(),
                hashlib.sha256(found[rows].tobytes()).hexdigest(),
            )

    def sized(self) -> str:
        """For the record."""
        return f"{self.n} by {self.n}, tiles {self.tile.name}"

    def enqueue(self, work: Work, seed: int, passes: int, flip: Flip | None = None, check: bool = True) -> Batch:
        """So many products, each compared; 2 n**3 operations each, in GFLOP."""
        n = self.n
        for number in range(passes):
            which = (seed + number) % 2
            work.run(self._product, self._bound[which], self.groups)
            if flip is not None and number == passes // 2:
                self._device.flip(work, self._c, int(flip.share * n * n), flip.bit)
            if check:
                work.run(self._compare, self._checks[which], self._compare_groups)
        return Batch(passes * 2.0 * n**3 / 1e9, groups=passes * self._compare_groups if check else 0)

    def judge(self, batch: Batch, report: Report) -> None:
        """Raise WrongResult for a product that differs."""
        judge_words(self.name, f"a product of {self.n} by {self.n} matrices", 0, batch, report)


def _random(random: np.random.Generator, n: int) -> NDArray[np.float32]:
    return random.random((n, n), dtype=np.float32) * 2 - 1
