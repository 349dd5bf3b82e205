"""The kernel's thermal zones, ``/sys/class/thermal``: ``temp`` and trip points in millidegrees Celsius."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from surefoot.rig.sensors.files import (
    SANE_CELSIUS,
    SANE_LIMIT_CELSIUS,
    FileChannel,
    FileSource,
    in_order,
    read_text,
    word,
)

ZONES = "sys/class/thermal"
_MILLI = 1e-3
_KINDS: tuple[tuple[str, str], ...] = (
    (r"x86_pkg_temp|cpu[-_]thermal|soc[-_]thermal|cpu", "cpu"),
    (r"gpu[-_]thermal|gpu", "gpu"),
    (r"acpitz", "board"),
    (r"bat.*", "battery"),
)


class ThermalZones(FileSource):
    """Every zone; where a driver of its own reads the same place, that one goes before."""

    name = "thermal zones"

    def __init__(self, root: Path) -> None:
        super().__init__(_entries(root))


def _entries(root: Path) -> Iterator[FileChannel]:
    for zone in in_order(root / ZONES, "thermal_zone*"):
        kind = read_text(zone / "type") or ""
        domain, part = _place(kind)
        tail = f".{part}" if part else ""
        low, high = SANE_CELSIUS
        yield FileChannel(f"{domain}.temperature{tail}", zone / "temp", _MILLI, low, high)
        for trip in in_order(zone, "trip_point_*_type"):
            if read_text(trip) == "critical":
                low, high = SANE_LIMIT_CELSIUS
                at = trip.with_name(trip.name.replace("_type", "_temp"))
                yield FileChannel(f"{domain}.temperature-limit{tail}", at, _MILLI, low, high)
                break


def _place(kind: str) -> tuple[str, str]:
    for pattern, domain in _KINDS:
        if re.fullmatch(pattern, kind.lower()):
            return domain, ""
    return "board", word(kind)
