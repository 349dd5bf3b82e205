"""Which logical processors this process may use."""

from __future__ import annotations

import os


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
