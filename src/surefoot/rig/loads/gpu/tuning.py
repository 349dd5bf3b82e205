"""Kernels sized to the card at hand, by measuring: how large a product, cut up how, how much memory beside it."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from surefoot.rig.loads.gpu.chain import Chain
from surefoot.rig.loads.gpu.device import Device
from surefoot.rig.loads.gpu.kernels import GpuKernel
from surefoot.rig.loads.gpu.mixed import Mixed
from surefoot.rig.loads.gpu.pattern import Pattern
from surefoot.rig.loads.gpu.product import Product
from surefoot.rig.loads.gpu.tiles import SMALL, TILES, Tile, product_shader
from surefoot.rig.loads.gpu.vram import chunks, free_bytes, share_of

SIZES = (512, 1024, 2048, 4096)
PRODUCT_SECONDS = 0.006
MEASURE_SECONDS = 0.05
HOT_ENOUGH = 0.85
"""A tile that gives this share of the fastest one's rate is taken before it when its lanes hold less: it moves more
through shared memory for every operation, and that is where the power goes. On a data-centre card 128 by 64 tiles gave
92 % of the fastest one's rate at 638 W against 539 W (measured; the library's products: 656 W)."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """What the kernels are made with."""

    n: int
    tile: Tile
    lanes: int
    rounds: int
    memory: tuple[int, ...]
    mixed_memory: int


def size_up(device: Device, kernels: tuple[str, ...], available: int, whole: bool, seed: int) -> Sizes:
    """Measure and choose. ``whole``: most of the memory; ``available``: main memory, in bytes."""
    free = free_bytes(device.adapter)
    memory = tuple(chunks(share_of(device.adapter, free, available, whole), device.largest))
    mixed = min(memory[0], 1 << 29)
    if device.adapter.kind == "software":
        return Sizes(256, SMALL, 1024, 1024, memory, min(mixed, 1 << 20))
    if "product" not in kernels:
        return Sizes(512, SMALL, 1 << 16, 4096, memory, mixed)
    n = _side(device, seed)
    # As many lanes as fill the largest card, and chains as long as a small one does in some hundredths of a second.
    lanes, rounds = (1 << 18, 16384) if n >= 2048 else (1 << 16, 8192)
    return Sizes(n, _tile(device, n, seed), lanes, rounds, memory, mixed)


def _side(device: Device, seed: int) -> int:
    for n in SIZES:
        if SMALL.fits(n, device.shared) and product_seconds(device, SMALL, n, seed) * 8 > PRODUCT_SECONDS:
            # Eight times the work is the next size.
            return n
    return SIZES[-1]


def _tile(device: Device, n: int, seed: int) -> Tile:
    rates = {tile: 2.0 * n**3 / product_seconds(device, tile, n, seed) for tile in TILES if tile.fits(n, device.shared)}
    return hottest(rates)


def hottest(rates: dict[Tile, float]) -> Tile:
    """Of the tiles that come near the fastest, the one whose lanes hold least. ``rates``: operations per second."""
    fastest = max(rates.values())
    good = [tile for tile, rate in rates.items() if rate >= HOT_ENOUGH * fastest]
    return min(good, key=lambda tile: (tile.down * tile.across, -rates[tile]))


def product_seconds(device: Device, tile: Tile, n: int, seed: int) -> float:
    """How long one product takes; the result is not looked at."""
    random = np.random.default_rng(seed)
    a, b = (device.filled(random.random((n, n), dtype=np.float32)) for _ in range(2))
    c = device.buffer(4 * n * n)
    pipeline = device.pipeline(product_shader(tile, n))
    group = device.bind(pipeline, a, b, c)
    groups = (n // tile.rows) * (n // tile.columns)
    passes, seconds = 1, 0.0
    while passes <= 256:
        work = device.work()
        for _ in range(passes):
            work.run(pipeline, group, groups)
        began = time.perf_counter()
        device.submit(work).wait()
        seconds = (time.perf_counter() - began) / passes
        # The first run waits for the kernel to be compiled and for the clock to rise.
        if passes > 1 and seconds * passes > MEASURE_SECONDS:
            break
        passes *= 4
    for buffer in (a, b, c):
        buffer.destroy()
    return seconds


def make_kernels(device: Device, names: tuple[str, ...], sizes: Sizes, seed: int) -> dict[str, GpuKernel]:
    """The kernels by name."""
    made: dict[str, GpuKernel] = {}
    product = Product(device, sizes.n, seed, sizes.tile)
    for name in names:
        if name == "product":
            made[name] = product
        elif name == "chain":
            made[name] = Chain(device, sizes.lanes, sizes.rounds)
        elif name == "mixed":
            made[name] = Mixed(device, product, sizes.mixed_memory)
        else:
            made[name] = Pattern(device, sizes.memory)
    return made
