"""Long chains of whole-number arithmetic on the graphics card, with ends that the processor knows at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from surefoot.rig.loads.gpu.device import LANES, Device, layout
from surefoot.rig.loads.gpu.kernels import Spoil, wrong
from surefoot.rig.loads.gpu.shaders import CHAIN, COMPARE

ROUNDS = 2048
_MASK = 0xFFFFFFFF


def jump(rounds: int, multiplier: int, increment: int) -> tuple[int, int]:
    """Multiplier and increment of ``rounds`` steps x -> m x + k (mod 2**32) taken as one.

    By doubling: two steps are x -> m m x + (m + 1) k. Brown 1994, Random number generation with arbitrary strides.
    """
    all_m, all_k = 1, 0
    m, k = multiplier, increment
    while rounds:
        if rounds & 1:
            all_m, all_k = all_m * m & _MASK, (all_k * m + k) & _MASK
        m, k = m * m & _MASK, (m + 1) * k & _MASK
        rounds >>= 1
    return all_m, all_k


def ends(start: NDArray[np.uint32], rounds: int, multiplier: int, increment: int) -> NDArray[np.uint32]:
    """Where every chain must end, without going through it."""
    m, k = jump(rounds, multiplier, increment)
    with np.errstate(over="ignore"):
        return start * np.uint32(m) + np.uint32(k)


class Chain:
    """Multiply and add in 32-bit whole numbers, some thousand times an invocation. Exact on any device."""

    name = "chain"
    work_unit = "Gop"
    nominal = 500.0

    def __init__(self, device: Device, invocations: int) -> None:
        self._device = device
        self._words = 4 * invocations
        self._groups = invocations // LANES

    def prove(self) -> None:
        """Set up; the right ends are worked out on the processor for every unit."""
        device = self._device
        self._start = device.buffer(4 * self._words)
        self._last = device.buffer(4 * self._words)
        self._right = device.buffer(4 * self._words)
        self._params = device.buffer(16)
        across, down = layout(self._words)
        self._layout = (across, down)
        words = device.filled(np.array([self._words, across], dtype=np.uint32))
        self._chain, self._compare = device.pipeline(CHAIN), device.pipeline(COMPARE)
        self._chain_group = device.bind(self._chain, self._start, self._last, self._params)
        self._compare_group = device.bind(self._compare, self._last, self._right, words, device.report)
        self.run(0, 1, None)

    def run(self, seed: int, passes: int, spoil: Spoil | None) -> float:
        """So many passes of ``ROUNDS`` rounds; returns two operations a round and chain, in billions."""
        device = self._device
        random = np.random.default_rng(seed)
        start = random.integers(0, 2**32, self._words, dtype=np.uint32)
        # Odd multipliers lose no bit: every start has an end of its own, so no wrong step can be forgotten.
        multiplier, increment = (int(value) | 1 for value in random.integers(0, 2**32, 2, dtype=np.uint32))
        device.put(self._start, start)
        device.put(self._right, ends(start, ROUNDS, multiplier, increment))
        device.put(self._params, np.array([ROUNDS, multiplier, increment, 0], dtype=np.uint32))
        work = device.work().clear(device.report)
        for number in range(passes):
            work.clear(self._last).run(self._chain, self._chain_group, self._groups)
            if number + 1 < passes or spoil is None:
                work.run(self._compare, self._compare_group, *self._layout)
        work.submit()
        if spoil is not None:
            spoil(self._last)
            device.work().run(self._compare, self._compare_group, *self._layout).submit()
        mismatch = device.read_report()
        if mismatch:
            raise wrong(self.name, f"chains of {ROUNDS} multiplications and additions", mismatch, self._words)
        return passes * 2.0 * ROUNDS * self._words / 1e9
