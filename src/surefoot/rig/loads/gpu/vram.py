"""How much graphics memory is free, from where the system tells it. Reading only."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

from surefoot.rig.loads.gpu.device import Adapter

MIB = 1 << 20
LARGEST_CHUNK = 1 << 30
SMALLEST_CHUNK = 32 * MIB
# What is left to the desktop, to the other kernels' own buffers and to the driver.
HEADROOM_SHARE = 0.08
LEAST_HEADROOM = 512 * MIB
UNKNOWN_CARD = 2 << 30


def free_bytes(adapter: Adapter, root: Path = Path("/")) -> int | None:
    """Bytes of a card's memory that are free now, or None where the system does not tell."""
    if adapter.kind != "card":
        return None
    found = _from_vendor_library(adapter.name)
    return found if found is not None else _from_kernel(root)


def _from_vendor_library(name: str) -> int | None:
    try:
        library: Any = import_module("pynvml")
    except ImportError:
        return None
    try:
        library.nvmlInit()
        for index in range(int(library.nvmlDeviceGetCount())):
            handle = library.nvmlDeviceGetHandleByIndex(index)
            called = library.nvmlDeviceGetName(handle)
            called = called.decode() if isinstance(called, bytes) else str(called)
            if called in name or name in called:
                return int(library.nvmlDeviceGetMemoryInfo(handle).free)
    except (library.NVMLError, OSError, ValueError, AttributeError):
        return None
    return None


def _from_kernel(root: Path) -> int | None:
    # amdgpu's own files (kernel documentation, "GPU memory usage information"): bytes, one folder a card.
    free = []
    for total in root.glob("sys/class/drm/card*/device/mem_info_vram_total"):
        try:
            free.append(int(total.read_text()) - int((total.parent / "mem_info_vram_used").read_text()))
        except (OSError, ValueError):
            continue
    # With several cards it is not known which of them this is.
    return free[0] if len(free) == 1 else None


def share_of(adapter: Adapter, free: int | None, available: int, whole: bool) -> int:
    """Bytes of graphics memory that a load may fill.

    ``free``: as `free_bytes`; ``available``: of main memory, which integrated and software devices use; ``whole``: most
    of what is free, else a part that is many times a cache.
    """
    if adapter.kind == "card":
        known = free if free is not None else UNKNOWN_CARD
        most = int(known - max(LEAST_HEADROOM, HEADROOM_SHARE * known))
        return max(SMALLEST_CHUNK, most if whole else min(most // 4, 4 << 30))
    if adapter.kind == "software":
        return 8 * MIB
    return max(SMALLEST_CHUNK, min(available // 4, (4 if whole else 1) << 30))


def chunks(size: int, largest: int) -> list[int]:
    """Powers of two that make up ``size`` bytes, none above ``largest``, the rest below the smallest left out."""
    piece = 1 << (min(largest, LARGEST_CHUNK).bit_length() - 1)
    least = min(SMALLEST_CHUNK, 1 << (max(size, 1).bit_length() - 1))
    made = []
    while piece >= least and piece >= 16384:
        while size >= piece:
            made.append(piece)
            size -= piece
        piece >>= 1
    return made
