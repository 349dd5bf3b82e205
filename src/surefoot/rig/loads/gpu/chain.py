"""Long chains of whole-number arithmetic on the graphics card, with ends that the processor knows at once."""

from __future__ import annotations

import numpy as np

from surefoot.rig.loads.gpu.device import LANES, RING, Device, Report, Work
from surefoot.rig.loads.gpu.kernels import Batch, Flip, judge_words
from surefoot.rig.loads.gpu.shaders import CHAIN, CHAIN_ENDS
from surefoot.rig.loads.strides import jump


class Chain:
    """Multiply and add in 32-bit whole numbers, some thousand times a lane. Exact on any device.

    ``rounds``: a multiple of 8. The check takes all rounds as one step, whose two numbers come from the processor.
    """

    name = "chain"
    work_unit = "Gop"
    nominal = 500.0
    most_passes = RING // 2 - 8

    def __init__(self, device: Device, lanes: int, rounds: int) -> None:
        self._device = device
        self._lanes = lanes
        self._groups = lanes // LANES
        self._rounds = rounds // 8 * 8

    def prove(self) -> None:
        """Set up; the right ends are known for every unit."""
        device = self._device
        self._last = device.buffer(16 * self._lanes)
        self._chain, self._ends = device.pipeline(CHAIN), device.pipeline(CHAIN_ENDS)
        self._chain_group = device.bind(self._chain, self._last)
        self._ends_group = device.bind(self._ends, self._last, device.report)

    def sized(self) -> str:
        """For the record."""
        return f"{self._lanes} lanes, {self._rounds} rounds"

    def enqueue(self, work: Work, seed: int, passes: int, flip: Flip | None = None, check: bool = True) -> Batch:
        """So many passes; two operations a round and chain, in billions."""
        random = np.random.default_rng(seed)
        for number in range(passes):
            # Odd multipliers lose no bit: every start has an end of its own, so no wrong step can be forgotten.
            multiplier, increment, start = (int(value) | 1 for value in random.integers(0, 2**32, 3, dtype=np.uint32))
            params = (self._rounds // 8, start, multiplier, increment, *jump(self._rounds, multiplier, increment, 32))
            work.run(self._chain, self._chain_group, self._groups, params=params)
            if flip is not None and number == passes // 2:
                self._device.flip(work, self._last, int(flip.share * 4 * self._lanes), flip.bit)
            if check:
                work.run(self._ends, self._ends_group, self._groups, params=params)
        return Batch(passes * 8.0 * self._rounds * self._lanes / 1e9, groups=passes * self._groups if check else 0)

    def judge(self, batch: Batch, report: Report) -> None:
        """Raise WrongResult for a chain that ended elsewhere."""
        judge_words(self.name, f"chains of {self._rounds} multiplications and additions", 0, batch, report)
