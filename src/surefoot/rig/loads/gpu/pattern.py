"""Patterns kept in the graphics memory: checked, replaced, checked again, word by word, all on the card."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from surefoot.rig.loads.gpu.device import RING, Device, Report, Work, layout
from surefoot.rig.loads.gpu.kernels import Batch, Flip, judge_words
from surefoot.rig.loads.gpu.pattern_words import BLOCK_VECTORS, MARCH
from surefoot.rig.loads.kernels.base import WrongResult

BLOCK_BYTES = 16 * BLOCK_VECTORS
KINDS = ("scattered bits", "a walking one", "alternating bits", "rows of ones and zeros", "addresses")
ROWS = 3
# Rows of memory are some kilobytes long; which addresses are neighbours is the card's own secret, so several lengths
# are tried: 2**shift vectors of 16 bytes, from 1 to 32 KiB.
ROW_SHIFTS = (6, 7, 8, 9, 10, 11)
# Odd numbers of blocks from one to the next, so that every block is visited whatever their count (a power of two).
STRIDES = (1, 3, 17, 129, 1023)
CHECK, WRITE = 1, 2
_MASK = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class Filling:
    """What memory is filled with."""

    kind: int
    seed: int
    mask: int
    row: int = 0

    @property
    def words(self) -> str:
        """For a reader."""
        of_rows = f" of {16 << self.row} bytes" if self.kind == ROWS else ""
        return f"{KINDS[self.kind]}{of_rows}{', inverted' if self.mask else ''}"


class Memory:
    """Buffers of graphics memory, each a power of two of blocks, and what they are filled with."""

    def __init__(self, device: Device, sizes: Sequence[int]) -> None:
        self.device = device
        # The first must be had; of the rest as many as there is room for, since others take memory meanwhile.
        self.buffers = [device.buffer(sizes[0])]
        for size in sizes[1:]:
            if (buffer := device.buffer_if_there_is_room(size)) is None:
                break
            self.buffers.append(buffer)
        self.blocks = [size // BLOCK_BYTES for size in sizes[: len(self.buffers)]]
        self.filling = Filling(0, 1, 0)
        self.filled = False

    @property
    def size(self) -> int:
        """Bytes."""
        return sum(self.blocks) * BLOCK_BYTES

    def params(self, number: int, across: int, old: Filling, new: Filling, mode: int, order: int, stride: int) -> Any:
        """One run of the kernel over one buffer."""
        from_words = (old.kind, old.seed, old.mask, old.row)
        to_words = (new.kind, new.seed, new.mask, new.row)
        return (across, order, self.blocks[number], stride, *from_words, *to_words, mode, number)


def where_in_memory(report: Report, memory: Memory) -> tuple[str, int]:
    """In words what memory was filled with where a word was wrong, and the words that lie before its buffer."""
    filling = Filling(report.pattern & 0xFF, 0, (report.pattern >> 16) & 1, (report.pattern >> 8) & 0xFF)
    before = sum(memory.blocks[: report.buffer]) * BLOCK_BYTES // 4
    return f"memory filled with {filling.words}", before


class Pattern:
    """Goes through the memory in one order, checks each word against what was written there, and writes another.

    What belongs at a place follows from the place, so that a word that went astray is found as well as one that
    changed. Each pattern is followed by its inverse in the other order (moving inversions; van de Goor, Testing
    Semiconductor Memories), at another stride. Far larger than any cache, it goes through the memory itself.
    """

    name = "pattern"
    work_unit = "GB"
    nominal = 30.0

    def __init__(self, device: Device, sizes: Sequence[int]) -> None:
        self._device = device
        self._memory = Memory(device, sizes)
        self._passes = 0
        self.most_passes = max(1, RING // 2 // len(sizes))

    @property
    def size(self) -> int:
        """Bytes of memory gone through."""
        return self._memory.size

    def prove(self) -> None:
        """Fill the memory, and compare words of every kind of pattern with the processor's own."""
        from surefoot.rig.loads.gpu.pattern_words import word_at

        device = self._device
        self._march = device.pipeline(MARCH)
        memory = self._memory
        self._bound = [device.bind(self._march, buffer, device.report) for buffer in memory.buffers]
        sample = device.buffer(BLOCK_BYTES)
        for kind in range(len(KINDS)):
            filling = Filling(kind, 12345, _MASK if kind % 2 else 0, 6)
            params = (1, 0, 1, 1, 0, 0, 0, 0, kind, filling.seed, filling.mask, filling.row, WRITE, 0)
            device.submit(device.work().run(self._march, device.bind(self._march, sample, device.report), 1, 1, params))
            got = device.get(sample, np.uint32)
            for place in (0, 1, 2, 3, 255, 256, 1000, got.size - 1):
                expected = word_at(place, kind, filling.seed, filling.mask, filling.row)
                if int(got[place]) != expected:
                    raise WrongResult(
                        self.name, f"{filling.words} are written wrongly", f"{expected:08x}", f"{got[place]:08x}"
                    )
        sample.destroy()
        work = device.work()
        self._pass(work, memory.filling, WRITE, 0, 1)
        device.submit(work).wait()

    def sized(self) -> str:
        """For the record."""
        return f"{self.size / 2**20:.0f} MiB in {len(self._memory.buffers)} buffers"

    def enqueue(self, work: Work, seed: int, passes: int, flip: Flip | None = None, check: bool = True) -> Batch:
        """So many passes; memory traffic (read once, written once), in GB."""
        memory = self._memory
        for number in range(passes):
            index = self._passes
            self._passes += 1
            # A pattern, then its inverse; then the next pattern, seeded afresh.
            if index % 2 == 0:
                new = replace(memory.filling, mask=memory.filling.mask ^ _MASK)
            else:
                kind = (index // 2) % len(KINDS)
                row = ROW_SHIFTS[(index // 2 // len(KINDS)) % len(ROW_SHIFTS)]
                new = Filling(kind, (seed * 0x9E3779B1 + index) & _MASK, 0, row)
            if flip is not None and number == passes // 2:
                self._flip(work, flip)
            mode = CHECK | WRITE if check else WRITE
            self._pass(work, new, mode, index % 2, STRIDES[index // 2 % len(STRIDES)])
        blocks = sum(memory.blocks)
        traffic = passes * 2.0 * memory.size / 1e9
        return Batch(traffic, blocks=passes * blocks, traffic_gb=traffic)

    def _pass(self, work: Work, new: Filling, mode: int, order: int, stride: int) -> None:
        memory = self._memory
        for number, blocks in enumerate(memory.blocks):
            across, down = layout(blocks)
            params = memory.params(number, across, memory.filling, new, mode, order, stride)
            work.run(self._march, self._bound[number], across, down, params)
        memory.filling = new

    def _flip(self, work: Work, flip: Flip) -> None:
        memory = self._memory
        which = min(int(flip.share * len(memory.buffers)), len(memory.buffers) - 1)
        words = memory.blocks[which] * BLOCK_BYTES // 4
        place = int((flip.share * len(memory.buffers) - which) * words)
        self._device.flip(work, memory.buffers[which], place, flip.bit)

    def judge(self, batch: Batch, report: Report) -> None:
        """Raise WrongResult for a word that was not what had been written there."""
        judge_words(self.name, *where_in_memory(report, self._memory), batch, report)
