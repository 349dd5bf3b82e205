"""Counters of memory errors, ``/sys/devices/system/edac/mc`` (kernel documentation, EDAC): corrected and not."""

from __future__ import annotations

from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number

CONTROLLERS = "sys/devices/system/edac/mc"


def count_memory_errors(root: Path) -> tuple[float, float] | None:
    """Corrected and uncorrected errors since the counters were last reset; None where the kernel does not count."""
    controllers = in_order(root / CONTROLLERS, "mc[0-9]*")
    corrected = [count for mc in controllers if (count := read_number(mc / "ce_count")) is not None]
    uncorrected = [count for mc in controllers if (count := read_number(mc / "ue_count")) is not None]
    if not corrected and not uncorrected:
        return None
    return sum(corrected), sum(uncorrected)


class MemoryErrors:
    """``memory.count.corrected`` and ``memory.count.uncorrected``."""

    name = "memory errors"

    def __init__(self, root: Path) -> None:
        self._root = root
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Both, or none."""
        return self._channels

    def read(self) -> dict[str, float]:
        """Since the counters were last reset."""
        counts = count_memory_errors(self._root)
        if counts is None:
            return {}
        return {"memory.count.corrected": counts[0], "memory.count.uncorrected": counts[1]}

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()
