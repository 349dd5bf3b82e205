"""Throttle counters, ``/sys/devices/system/cpu/cpuN/thermal_throttle`` (kernel documentation, thermal throttle events
reporting): how often, and for how long in milliseconds, a core or its package was throttled."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number

CPUS = "sys/devices/system/cpu"
_COUNTS = {
    "core_throttle_count": "cpu.thermal-flag",
    "package_throttle_count": "cpu.thermal-flag",
    "core_power_limit_count": "cpu.power-flag",
    "package_power_limit_count": "cpu.power-flag",
}
_TIMES_MS = {
    "core_throttle_total_time_ms": "cpu.thermal-flag",
    "package_throttle_total_time_ms": "cpu.thermal-flag",
}


class ThrottleCounters:
    """``cpu.thermal-flag`` and ``cpu.power-flag``, of the worst core or package, since the last sample.

    The share of the time that it was throttled where the kernel counts that, else 1 when a counter has gone up.
    """

    name = "throttle counters"

    def __init__(self, root: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        files = [
            (path, flag, file in _TIMES_MS)
            for cpu in in_order(root / CPUS, "cpu[0-9]*")
            for file, flag in {**_COUNTS, **_TIMES_MS}.items()
            if read_number(path := cpu / "thermal_throttle" / file) is not None
        ]
        self._files = files
        self._before: dict[Path, float] = {}
        self._last = self._clock()
        self.read()

    def channels(self) -> tuple[str, ...]:
        """The flags for which there is a counter."""
        return tuple(dict.fromkeys(flag for _, flag, _ in self._files))

    def read(self) -> dict[str, float]:
        """0 to 1 each."""
        now = self._clock()
        seconds, self._last = now - self._last, now
        went_up: dict[str, float] = {}
        shares: dict[str, float] = {}
        for path, flag, is_time in self._files:
            value = read_number(path)
            if value is None:
                continue
            more = value - self._before.get(path, value)
            self._before[path] = value
            went_up[flag] = max(went_up.get(flag, 0.0), float(more > 0))
            if is_time and more > 0 and seconds > 0:
                shares[flag] = max(shares.get(flag, 0.0), min(1.0, more / 1e3 / seconds))
        return {**went_up, **shares}

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()
