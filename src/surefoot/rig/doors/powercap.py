"""Power limits of the processor, ``/sys/class/powercap`` (kernel documentation, power capping framework): microwatts.

Lower than what was found at first only: a limit is never raised. A zone that the firmware has locked takes a value
and keeps its own, which the reading back shows.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from surefoot.rig.doors.files import closed, number_in, write_text
from surefoot.rig.doors.protocol import DoorRange
from surefoot.rig.sensors.files import in_order, read_number, read_text, word

ZONES = "sys/class/powercap"
STEP_WATTS = 1.0
LEAST_SHARE = 0.2
"""No limit below a fifth of the one found: a machine so slow may no longer answer (our own bound)."""


class PowercapDoor:
    """One constraint of one package, in watts."""

    domain, unit = "cpu", "W"
    toward: Literal["down", "up"] = "down"

    def __init__(self, name: str, zone: Path, number: str) -> None:
        self.name = name
        self._file = zone / f"constraint_{number}_power_limit_uw"
        self._most = zone / f"constraint_{number}_max_power_uw"
        self._found = number_in(self._file) * 1e-6
        self.says = f"{name.partition(':')[2]} power limit of the processor package, by the kernel's powercap"

    def why_not(self) -> str:
        """Closed to this user, or a limit of nothing."""
        return "no limit is set" if self._found <= 0 else closed(self._file)

    def range(self) -> DoorRange:
        """From a fifth of what was found to what was found, and never above what the zone gives as its most."""
        most = (read_number(self._most) or 0.0) * 1e-6
        high = min(self._found, most) if most > 0 else self._found
        return DoorRange(LEAST_SHARE * high, high, STEP_WATTS)

    def stock(self) -> float | None:
        """The kernel does not tell the maker's own value: what was found first is what counts."""
        return None

    def read(self) -> float:
        """Watts."""
        return number_in(self._file) * 1e-6

    def write(self, value: float) -> None:
        """Watts."""
        write_text(self._file, f"{round(value * 1e6)}\n")


def powercap_doors(root: Path) -> Iterator[PowercapDoor]:
    """The constraints of the first package, by their kernel names (``long_term``, ``short_term``)."""
    for zone in in_order(root / ZONES, "*:*"):
        if (read_text(zone / "name") or "") != "package-0":
            continue
        for path in in_order(zone, "constraint_*_name"):
            number = path.name.split("_")[1]
            if read_number(zone / f"constraint_{number}_power_limit_uw") is not None:
                yield PowercapDoor(f"powercap:{word(read_text(path) or number)}", zone, number)
        # One zone may be offered through two interfaces; the first counts.
        return
