"""What the graphics loads are made of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from surefoot.rig.loads.program import Program

if TYPE_CHECKING:
    from surefoot.rig.loads.gpu.device import Device
    from surefoot.rig.loads.gpu.kernels import GpuKernel

GPU_PROGRAMS: dict[str, Program] = {
    "gpu": Program((("full", 12.0), ("burst", 6.75))),
    "gpu-memory": Program((("full", 12.0),)),
}
GPU_KERNELS: dict[str, tuple[str, ...]] = {
    "gpu": ("product", "chain", "product", "pattern"),
    "gpu-memory": ("pattern",),
}
GPU_EXERCISES: dict[str, tuple[str, ...]] = {
    "gpu": ("gpu", "gpu-memory", "transition"),
    "gpu-memory": ("gpu-memory",),
}
GPU_WORK_UNITS: dict[str, str] = {"product": "GFLOP", "chain": "Gop", "pattern": "GB"}


def make_kernels(device: Device, names: Sequence[str], sizes: dict[str, int], seed: int) -> list[GpuKernel]:
    """The kernels by name, one of each, in the order of their turns."""
    from surefoot.rig.loads.gpu.chain import Chain
    from surefoot.rig.loads.gpu.pattern import Pattern
    from surefoot.rig.loads.gpu.product import Product

    makers: dict[str, Callable[[], GpuKernel]] = {
        "product": lambda: Product(device, sizes["n"], seed),
        "chain": lambda: Chain(device, sizes["invocations"]),
        "pattern": lambda: Pattern(device, device.largest),
    }
    made: dict[str, GpuKernel] = {}
    for name in names:
        if name not in made:
            made[name] = makers[name]()
    return [made[name] for name in names]
