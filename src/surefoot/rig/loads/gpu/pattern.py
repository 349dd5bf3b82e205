"""Patterns written to the graphics memory, copied, and read back."""

from __future__ import annotations

import numpy as np

from surefoot.rig.loads.gpu.device import Device, layout
from surefoot.rig.loads.gpu.kernels import Spoil, wrong
from surefoot.rig.loads.gpu.shaders import CHECK, FILL

# Scattered bits of the address, a walking one, alternating bits, and the first kind inverted.
KINDS = ("scattered bits", "a walking one", "alternating bits", "scattered bits inverted")


class Pattern:
    """Fill one large buffer, copy it to a second, check the second and the first, word by word, all on the card.

    What belongs at a place follows from the place, so that a word that went astray is found as well as one that
    changed. Far larger than any cache, it goes through the memory itself.
    """

    name = "pattern"
    work_unit = "GB"
    nominal = 30.0

    def __init__(self, device: Device, size: int) -> None:
        self._device = device
        self._words = size // 4

    def prove(self) -> None:
        """Set up and go through every kind of pattern once; compare some words with the processor's own."""
        device, words = self._device, self._words
        self._one, self._two = device.buffer(4 * words), device.buffer(4 * words)
        self._params = device.buffer(16)
        self._layout = layout(words)
        self._fill, self._check = device.pipeline(FILL), device.pipeline(CHECK)
        self._fill_group = device.bind(self._fill, self._one, self._params)
        self._check_one = device.bind(self._check, self._one, self._params, device.report)
        self._check_two = device.bind(self._check, self._two, self._params, device.report)
        for kind in range(len(KINDS)):
            self.run(kind, 1, None)

    def run(self, seed: int, passes: int, spoil: Spoil | None) -> float:
        """So many rounds of one pattern; returns the memory traffic (written twice, read three times), in GB."""
        device = self._device
        kind = seed % len(KINDS)
        across, down = self._layout
        mixed = (seed * 0x9E3779B1) & 0xFFFFFFFF
        device.put(self._params, np.array([kind, mixed, self._words, across], dtype=np.uint32))
        work = device.work().clear(device.report)
        for _ in range(passes):
            work.run(self._fill, self._fill_group, across, down).copy(self._one, self._two)
            if spoil is None:
                work.run(self._check, self._check_two, across, down)
            work.run(self._check, self._check_one, across, down)
        work.submit()
        if spoil is not None:
            spoil(self._two)
            device.work().run(self._check, self._check_two, across, down).submit()
        mismatch = device.read_report()
        if mismatch:
            raise wrong(self.name, f"memory filled with {KINDS[kind]}", mismatch, self._words)
        return passes * 5 * 4.0 * self._words / 1e9


def word_at(place: int, kind: int, seed: int) -> int:
    """The word that belongs at a place, as the kernel works it out; for checks on the processor."""
    if kind == 1:
        return 1 << ((place + seed) % 32)
    if kind == 2:
        return 0xAAAAAAAA if (place + seed) & 1 else 0x55555555
    x = place ^ seed
    x = (x ^ (x >> 16)) * 0x7FEB352D & 0xFFFFFFFF
    x = (x ^ (x >> 15)) * 0x846CA68B & 0xFFFFFFFF
    x ^= x >> 16
    return x ^ 0xFFFFFFFF if kind == 3 else x
