"""The highest clock that the kernel lets the processor take (kernel documentation, CPU performance scaling): kilohertz.

``scaling_max_freq`` of every policy at once, from ``cpuinfo_min_freq`` to ``cpuinfo_max_freq``.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from surefoot.rig.doors.files import closed, number_in, write_text
from surefoot.rig.doors.protocol import DoorRange
from surefoot.rig.sensors.files import in_order, read_number

POLICIES = "sys/devices/system/cpu/cpufreq"
STEP_MHZ = 100.0


class CpuMaximum:
    """The processor's highest clock, in MHz. Where policies differ (fast and slow cores) each keeps below its own."""

    name, domain, unit = "cpufreq:maximum", "cpu", "MHz"
    toward: Literal["down", "up"] = "down"
    says = "highest clock of the processor, by the kernel's cpufreq"

    def __init__(self, policies: list[Path]) -> None:
        self._policies = policies

    def why_not(self) -> str:
        """Closed to this user."""
        return next((why for one in self._policies if (why := closed(one / "scaling_max_freq"))), "")

    def range(self) -> DoorRange:
        """What every policy takes."""
        low = max(number_in(one / "cpuinfo_min_freq") for one in self._policies)
        return DoorRange(low / 1e3, self._highest(), STEP_MHZ)

    def _highest(self) -> float:
        return max(number_in(one / "cpuinfo_max_freq") for one in self._policies) / 1e3

    def stock(self) -> float | None:
        """The hardware's own highest."""
        return self._highest()

    def read(self) -> float:
        """That of the fastest policy, MHz."""
        return max(number_in(one / "scaling_max_freq") for one in self._policies) / 1e3

    def write(self, value: float) -> None:
        """MHz."""
        for one in self._policies:
            own = number_in(one / "cpuinfo_max_freq")
            write_text(one / "scaling_max_freq", f"{round(min(value * 1e3, own))}\n")


def cpufreq_doors(root: Path) -> Iterator[CpuMaximum]:
    """One door over all policies, where there are any."""
    policies = [
        one for one in in_order(root / POLICIES, "policy[0-9]*") if read_number(one / "scaling_max_freq") is not None
    ]
    if policies:
        yield CpuMaximum(policies)
