"""How much main memory may be taken without making the machine swap."""

from __future__ import annotations

from pathlib import Path

HEADROOM_SHARE = 0.10
LEAST_HEADROOM = 1 << 30
_UNLIMITED = 1 << 60


def available_bytes(root: Path = Path("/")) -> int:
    """Bytes of main memory that can be had without swapping; a container's own limit counts as well."""
    import psutil

    free = int(psutil.virtual_memory().available)
    limit = _container_free(root)
    return free if limit is None else min(free, limit)


def total_bytes() -> int:
    """Bytes of main memory."""
    import psutil

    return int(psutil.virtual_memory().total)


def swapped_bytes() -> int:
    """Bytes in swap now; 0 where there is none."""
    import psutil

    try:
        return int(psutil.swap_memory().used)
    except (OSError, RuntimeError):
        return 0


def headroom_bytes(total: int) -> int:
    """What is always left to the rest of the machine: a tenth of all memory, at least 1 GiB (never over a half)."""
    return min(max(LEAST_HEADROOM, int(HEADROOM_SHARE * total)), total // 2)


def _container_free(root: Path) -> int | None:
    # Linux kernel documentation, control group v2, memory interface files.
    try:
        line = next(text for text in (root / "proc/self/cgroup").read_text().splitlines() if text.startswith("0::"))
        folder = root / "sys/fs/cgroup" / line[3:].lstrip("/")
        limit = (folder / "memory.max").read_text().strip()
        used = int((folder / "memory.current").read_text())
    except (OSError, ValueError, StopIteration):
        return None
    if limit == "max" or int(limit) > _UNLIMITED:
        return None
    return max(0, int(limit) - used)
