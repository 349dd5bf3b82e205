"""Power from an energy counter: what was used since the last reading, over the time since."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from surefoot.rig.sensors.files import read_number

# No part that these counters cover takes more; used to tell that a counter may have gone round more than once.
MOST_WATTS = 2000.0


def energy_used_joules(before_uj: float, after_uj: float, range_uj: float | None) -> float | None:
    """Energy between two readings of a counter that wraps at ``range_uj`` (max_energy_range_uj), in joules.

    None when it ran backwards and the range is not known, or by more than the range.
    """
    used = after_uj - before_uj
    if used < 0:
        if not range_uj:
            return None
        used += range_uj
    return used * 1e-6 if used >= 0 else None


@dataclass(slots=True)
class EnergyMeter:
    """One counter in microjoules. ``range_uj``: where it wraps, None where it does not."""

    channel: str
    path: Path
    range_uj: float | None = None
    before: tuple[float, float] | None = None

    def watts(self, now: float) -> float | None:
        """Mean power since the last reading (``now`` in seconds).

        None for the first, when the counter cannot be read, or when it may have gone round more than once.
        """
        value = read_number(self.path)
        if value is None:
            self.before = None
            return None
        last, self.before = self.before, (now, value)
        if last is None or now <= last[0]:
            return None
        seconds = now - last[0]
        if self.range_uj and seconds > self.range_uj * 1e-6 / MOST_WATTS:
            return None
        joules = energy_used_joules(last[1], value, self.range_uj)
        return None if joules is None else joules / seconds
