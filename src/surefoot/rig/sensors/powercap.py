"""Energy counters and power limits, ``/sys/class/powercap`` (kernel documentation, power capping framework)."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from pathlib import Path

from surefoot.rig.sensors.energy import EnergyMeter
from surefoot.rig.sensors.files import FileChannel, in_order, read_number, read_text, word

ZONES = "sys/class/powercap"


class Powercap:
    """Power of each zone as the mean since the last sample, and the zone's power limits.

    ``clock``: seconds, never backwards. The first sample after the source was made already has a past: the counters
    are read once at the start.
    """

    name = "powercap"

    def __init__(self, root: Path, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._meters: list[EnergyMeter] = []
        self._limits: list[FileChannel] = []
        self._unreadable = False
        zones = _zones(root)
        packages = sum(1 for _, name in zones if name.startswith("package-"))
        for zone, name in zones:
            channel = _channel(name, packages)
            counter = zone / "energy_uj"
            if read_number(counter) is not None:
                self._meters.append(EnergyMeter(channel, counter, read_number(zone / "max_energy_range_uj")))
            elif counter.exists():
                self._unreadable = True
            self._limits += _constraints(zone, channel)
        self._several = [meter.channel for meter in self._meters if ".power.package-" in meter.channel]
        now = self._clock()
        for meter in self._meters:
            meter.watts(now)

    def channels(self) -> tuple[str, ...]:
        """The power of every readable zone, and every limit that is set."""
        total = ("cpu.power",) if self._several else ()
        limits = tuple(entry.channel for entry in self._limits if entry.read() is not None)
        return total + tuple(meter.channel for meter in self._meters) + limits

    def read(self) -> dict[str, float]:
        """Watts."""
        now = self._clock()
        sample = {}
        for meter in self._meters:
            watts = meter.watts(now)
            if watts is not None:
                sample[meter.channel] = watts
        if self._several and all(name in sample for name in self._several):
            sample["cpu.power"] = sum(sample[name] for name in self._several)
        for entry in self._limits:
            value = entry.read()
            if value is not None:
                sample[entry.channel] = value
        return sample

    def missing(self) -> tuple[str, ...]:
        """Says when the counters are there but closed to this user."""
        if not self._unreadable:
            return ()
        return (
            "The processor's energy counters are there but may be read by the administrator only: without them "
            "nothing can be said of its power or its power limits.",
        )


def _zones(root: Path) -> list[tuple[Path, str]]:
    """Every zone with its name. One may be offered through two interfaces; the first of a name and place counts."""
    found: dict[str, tuple[Path, str]] = {}
    for zone in in_order(root / ZONES, "*:*"):
        name = read_text(zone / "name")
        if not name:
            continue
        owner = _owner(root, zone)
        found.setdefault(name if name.startswith("package-") else f"{owner}/{name}", (zone, name))
    return list(found.values())


def _owner(root: Path, zone: Path) -> str:
    parent = re.match(r"(.+:\d+):\d+$", zone.name)
    return (read_text(root / ZONES / parent[1] / "name") or "") if parent else ""


def _channel(name: str, packages: int) -> str:
    if name.startswith("package-"):
        return "cpu.power" if packages < 2 else f"cpu.power.{word(name)}"
    return {"dram": "memory.power", "psys": "system.power"}.get(name, f"cpu.power.{word(name)}")


def _constraints(zone: Path, channel: str) -> list[FileChannel]:
    domain, _, part = channel.partition(".power")
    entries = []
    for path in in_order(zone, "constraint_*_power_limit_uw"):
        number = path.name.split("_")[1]
        name = word(read_text(zone / f"constraint_{number}_name") or f"constraint-{number}")
        tail = "-".join(filter(None, (part.strip("."), name)))
        entries.append(FileChannel(f"{domain}.power-limit.{tail}", path, 1e-6, low=1e-3))
        # The long-term limit is the one that rules a run of minutes.
        if name == "long-term":
            entries.append(FileChannel(f"{domain}.power-limit{part}", path, 1e-6, low=1e-3))
    return entries
