"""Matrix products and memory traffic on the same cores at the same moment."""

from __future__ import annotations

import time

from surefoot.rig.loads.gpu.device import Device, Report, Work, layout
from surefoot.rig.loads.gpu.kernels import Batch, Flip, judge_words
from surefoot.rig.loads.gpu.pattern import BLOCK_BYTES, CHECK, WRITE, Filling, Memory, where_in_memory
from surefoot.rig.loads.gpu.pattern_words import MARCH
from surefoot.rig.loads.gpu.product import Product
from surefoot.rig.loads.gpu.shaders import COMPARE
from surefoot.rig.loads.gpu.tiles import mixed_shader

# (groups to each that goes through memory, blocks of memory that one goes through): which keeps both busy depends on
# how fast the card is at either, so it is measured.
RATIOS = ((2, 32), (2, 128), (2, 512), (3, 128), (3, 512), (4, 256), (4, 1024), (8, 1024))
LEAST_SHARE = 0.3
"""Of the time alone that each side must get done beside the other, as far as any ratio does."""


class Mixed:
    """The product of `Product`, some of whose groups go through memory instead of working at a tile.

    So arithmetic, shared memory, caches and memory are all driven at once.
    """

    name = "mixed"
    work_unit = "GFLOP"
    nominal = 500.0
    most_passes = 128

    def __init__(self, device: Device, product: Product, memory_bytes: int) -> None:
        self._device, self._product = device, product
        self._n, self._tile = product.n, product.tile
        self._memory_bytes = memory_bytes
        self.ratio = (3, 2)

    def prove(self) -> None:
        """Set up on the product's proven matrices, which must have been made; fill the memory; choose the ratio."""
        device, n = self._device, self._n
        self._memory = Memory(device, [self._memory_bytes])
        self._run = device.pipeline(mixed_shader(self._tile, n))
        self._compare = device.pipeline(COMPARE)
        self._c = device.buffer(4 * n * n)
        pairs = self._product.pairs
        memory = self._memory.buffers[0]
        self._bound = [device.bind(self._run, self._product.a, b, self._c, memory, device.report) for b, _ in pairs]
        self._checks = [device.bind(self._compare, self._c, right, device.report) for _, right in pairs]
        # A pass may not come round to every block: all write the same words, so that none is ever out of step.
        self._filling = Filling(0, 77, 0)
        march = device.pipeline(MARCH)
        across, down = layout(self._memory.blocks[0])
        params = self._memory.params(0, across, self._filling, self._filling, WRITE, 0, 1)
        group = device.bind(march, memory, device.report)
        device.submit(device.work().run(march, group, across, down, params)).wait()
        if device.adapter.kind != "software":
            self._choose()

    def _choose(self) -> None:
        """The ratio that keeps both sides busiest, each measured against the most that any ratio gives it."""
        arithmetic, traffic = {}, {}
        for ratio in RATIOS:
            self.ratio = ratio
            passes = 1
            for _ in range(3):
                work = self._device.work()
                batch = self.enqueue(work, 0, passes)
                began = time.perf_counter()
                self.judge(batch, self._device.submit(work).wait())
                seconds = time.perf_counter() - began
                arithmetic[ratio], traffic[ratio] = batch.amount / seconds, batch.traffic_gb / seconds
                passes = max(1, min(16, round(0.03 * passes / seconds)))
        self.ratio = busiest(arithmetic, traffic)

    def groups_of(self, ratio: tuple[int, int]) -> int:
        """Groups to be started, so that all tiles are still done."""
        every, _ = ratio
        return -(-self._product.groups * every // (every - 1))

    def blocks_of(self, ratio: tuple[int, int]) -> int:
        """Blocks of memory that one product goes through beside it."""
        every, each = ratio
        return self.groups_of(ratio) // every * each

    def sized(self) -> str:
        """For the record."""
        every, each = self.ratio
        return f"{self._n} by {self._n}, one group in {every} at {each} blocks of memory"

    def enqueue(self, work: Work, seed: int, passes: int, flip: Flip | None = None, check: bool = True) -> Batch:
        """So many products, each with its memory traffic; the arithmetic in GFLOP, the traffic beside it in GB."""
        n, filling = self._n, self._filling
        compare_groups = n * n // 4096
        blocks = self.blocks_of(self.ratio)
        for number in range(passes):
            which = (seed + number) % 2
            stride = 1 + 2 * (seed % 8)
            params = self._memory.params(0, 1, filling, filling, CHECK | WRITE, number % 2, stride)
            work.run(self._run, self._bound[which], self.groups_of(self.ratio), 1, (*params, *self.ratio))
            if flip is not None and number == passes // 2:
                self._device.flip(work, self._c, int(flip.share * n * n), flip.bit)
            if check:
                work.run(self._compare, self._checks[which], compare_groups)
        return Batch(
            passes * 2.0 * n**3 / 1e9,
            blocks=passes * blocks,
            groups=passes * compare_groups if check else 0,
            traffic_gb=passes * blocks * 2 * BLOCK_BYTES / 1e9,
        )

    def judge(self, batch: Batch, report: Report) -> None:
        """Raise WrongResult for a product that differs, or a word of memory."""
        what = f"a product of {self._n} by {self._n} matrices beside memory traffic"
        if report.in_memory:
            what = f"{where_in_memory(report, self._memory)[0]}, beside a product"
        judge_words(self.name, what, 0, batch, report)


def busiest(arithmetic: dict[tuple[int, int], float], traffic: dict[tuple[int, int], float]) -> tuple[int, int]:
    """Of the ratios that leave either side its share, the one with the largest sum of shares of the most seen."""
    most_a, most_t = max(arithmetic.values()), max(traffic.values())
    shares = {ratio: (arithmetic[ratio] / most_a, traffic[ratio] / most_t) for ratio in arithmetic}
    fair = [ratio for ratio, pair in shares.items() if min(pair) >= LEAST_SHARE]
    return max(fair or shares, key=lambda ratio: (sum(shares[ratio]), ratio))
