"""Matrix products on the graphics card."""

from __future__ import annotations

import hashlib

import numpy as np

from surefoot.rig.loads.gpu.device import Device, layout
from surefoot.rig.loads.gpu.kernels import Spoil, wrong
from surefoot.rig.loads.gpu.shaders import COMPARE, PRODUCT
from surefoot.rig.loads.kernels.base import WrongResult

TILE = 64
LARGEST_ENTRY = 4
VECTORS = 24


class Product:
    """The same product of matrices of small whole numbers, over and over.

    Entries of at most 4 and n of at most 4096 keep every sum below 2**24, so that single precision is exact whatever
    the order of the additions. The first product is proven on the processor by Freivalds' test (1977; see the CPU
    load); every later one is compared with it word by word on the card, after its buffer has been cleared.
    """

    name = "product"
    work_unit = "GFLOP"
    nominal = 1000.0

    def __init__(self, device: Device, n: int, seed: int) -> None:
        if n % TILE or n * LARGEST_ENTRY**2 >= 2**24:
            raise ValueError(f"n must be a multiple of {TILE} and keep sums exact, got {n}")
        self._device = device
        self._n = n
        random = np.random.default_rng(seed)
        self._a, self._b = random.integers(-LARGEST_ENTRY, LARGEST_ENTRY + 1, (2, n, n)).astype(np.float32)
        self._random = random

    def prove(self) -> None:
        """Make the reference, and prove it on the processor."""
        device, n = self._device, self._n
        a, b = device.filled(self._a), device.filled(self._b)
        self._c = device.buffer(4 * n * n)
        self._right = device.buffer(4 * n * n)
        across, down = layout(n * n)
        self._product = device.pipeline(PRODUCT)
        self._compare = device.pipeline(COMPARE)
        sizes = device.filled(np.array([n], dtype=np.uint32))
        words = device.filled(np.array([n * n, across], dtype=np.uint32))
        self._product_group = device.bind(self._product, a, b, self._c, sizes)
        self._compare_group = device.bind(self._compare, self._c, self._right, words, device.report)
        self._layout = (across, down)
        device.work().run(self._product, self._product_group, n // TILE, n // TILE).copy(self._c, self._right).submit()
        c = device.get(self._right, np.float32).reshape(n, n).astype(np.float64)
        x = self._random.integers(0, 2, (n, VECTORS)).astype(np.float64)
        expected, found = self._a.astype(np.float64) @ (self._b.astype(np.float64) @ x), c @ x
        if not np.array_equal(c, np.rint(c)) or not np.array_equal(expected, found):
            raise WrongResult(
                self.name,
                f"the first product of two {n} by {n} matrices failed Freivalds' test on the processor",
                hashlib.sha256(expected.tobytes()).hexdigest(),
                hashlib.sha256(found.tobytes()).hexdigest(),
            )

    def run(self, seed: int, passes: int, spoil: Spoil | None) -> float:
        """So many products, each compared; returns 2 n**3 operations each, in GFLOP."""
        device, n = self._device, self._n
        work = device.work().clear(device.report)
        for number in range(passes):
            work.clear(self._c).run(self._product, self._product_group, n // TILE, n // TILE)
            if number + 1 < passes or spoil is None:
                work.run(self._compare, self._compare_group, *self._layout)
        work.submit()
        if spoil is not None:
            spoil(self._c)
            device.work().run(self._compare, self._compare_group, *self._layout).submit()
        mismatch = device.read_report()
        if mismatch:
            raise wrong(self.name, f"{passes} products of {n} by {n} matrices of whole numbers", mismatch, n * n)
        return passes * 2.0 * n**3 / 1e9
