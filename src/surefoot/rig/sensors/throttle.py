"""Throttle counters, ``/sys/devices/system/cpu/cpuN/thermal_throttle`` (kernel documentation, thermal throttle events
reporting): how often a core or its package was throttled."""

from __future__ import annotations

from pathlib import Path

from surefoot.rig.sensors.files import in_order, read_number

CPUS = "sys/devices/system/cpu"
_FLAGS = {
    "core_throttle_count": "cpu.thermal-flag",
    "package_throttle_count": "cpu.thermal-flag",
    "core_power_limit_count": "cpu.power-flag",
    "package_power_limit_count": "cpu.power-flag",
}


class ThrottleCounters:
    """``cpu.thermal-flag`` and ``cpu.power-flag``: 1 when a counter of the kind has gone up since the last sample."""

    name = "throttle counters"

    def __init__(self, root: Path) -> None:
        self._files = [
            (flag, path)
            for cpu in in_order(root / CPUS, "cpu[0-9]*")
            for file, flag in _FLAGS.items()
            if read_number(path := cpu / "thermal_throttle" / file) is not None
        ]
        self._before: dict[Path, float] = {}
        self.read()

    def channels(self) -> tuple[str, ...]:
        """The flags for which there is a counter."""
        return tuple(dict.fromkeys(flag for flag, _ in self._files))

    def read(self) -> dict[str, float]:
        """0 or 1 each."""
        sample: dict[str, float] = {}
        for flag, path in self._files:
            count = read_number(path)
            if count is None:
                continue
            went_up = count > self._before.get(path, count)
            self._before[path] = count
            sample[flag] = max(sample.get(flag, 0.0), float(went_up))
        return sample

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()
