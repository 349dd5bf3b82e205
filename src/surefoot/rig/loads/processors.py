"""Which logical processors this process may use."""

from __future__ import annotations

import os
from pathlib import Path


def allowed_processors() -> tuple[int, ...]:
    """Numbers of the logical processors that this process may run on, ascending; never empty.

    Where the system does not tell (macOS), 0 up to the count.
    """
    if hasattr(os, "sched_getaffinity"):
        return tuple(sorted(os.sched_getaffinity(0)))
    import psutil

    process = psutil.Process()
    if hasattr(process, "cpu_affinity"):
        try:
            allowed = process.cpu_affinity()
        except (psutil.Error, OSError):
            allowed = None
        if allowed:
            return tuple(sorted(allowed))
    return tuple(range(os.cpu_count() or 1))


def last_cache_share(root: Path = Path("/")) -> int:
    """Bytes of the largest cache that falls to each of the processors that share it; 0 where the system does not tell.

    Linux kernel documentation, ABI/testing/sysfs-devices-system-cpu: ``cache/index*/size`` and ``shared_cpu_list``.
    """
    shares = []
    for folder in root.glob("sys/devices/system/cpu/cpu*/cache/index*"):
        try:
            level = int((folder / "level").read_text())
            size = (folder / "size").read_text().strip()
            sharing = _count((folder / "shared_cpu_list").read_text())
            shares.append((level, int(size.removesuffix("K")) * 1024 // max(sharing, 1)))
        except (OSError, ValueError):
            continue
    last = max((level for level, _ in shares), default=0)
    # Of unequal cores the poorest decides, so that all do the same.
    return min((share for level, share in shares if level == last), default=0)


def _count(ranges: str) -> int:
    """How many numbers a list like ``0-3,8`` names."""
    total = 0
    for part in ranges.strip().split(","):
        first, _, last = part.partition("-")
        total += int(last or first) - int(first) + 1
    return total
