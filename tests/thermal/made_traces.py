"""Traces of a virtual part whose limiter, resistances and time constants are known. Invented, not measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Trace
from surefoot.thermal.labels import CODE


@dataclass(frozen=True)
class Part:
    """A processor with its cooling: a die on a heatsink, with limits. Clock in MHz, the rest in SI units."""

    free_mhz: float = 4200.0
    ceiling: float = 95.0
    power_limit: float = 53.0
    short_limit: float | None = None
    short_seconds: float = 40.0
    full_watts: float = 82.0  # at the free clock, at 60 °C
    die_kelvin_per_watt: float = 0.35
    sink_kelvin_per_watt: float = 0.55
    die_seconds: float = 6.0
    sink_seconds: float = 180.0
    room: float = 22.0

    @property
    def resistance(self) -> float:
        return self.die_kelvin_per_watt + self.sink_kelvin_per_watt


def watts_at(part: Part, share: float, celsius: float) -> float:
    """Power at a share of the free clock: voltage falls with the clock, leakage grows with temperature."""
    volts = 0.65 + 0.35 * share
    leak = 0.18 * part.full_watts * np.exp(0.01 * (celsius - 60.0))
    return float(leak * volts**2 + 0.82 * part.full_watts * volts**2 * share)


def run_part(
    part: Part,
    minutes: float = 15.0,
    seed: int = 0,
    *,
    idle_before: float = 0.0,
    noise: float = 1.0,
    domain: str = "cpu",
) -> tuple[Trace, np.ndarray]:
    """A trace at 1 Hz under full load and the true label code of each sample."""
    random = np.random.default_rng(seed)
    n = int(minutes * 60)
    die = sink = part.room
    cap = 1.0
    rows = np.empty((n, 4))
    truth = np.empty(n, dtype=np.int8)
    for i in range(n):
        working = i >= idle_before * 60
        limit = part.power_limit
        if part.short_limit is not None and i - idle_before * 60 < part.short_seconds:
            limit = part.short_limit
        low, high = 0.2, 1.0
        for _ in range(24):
            middle = (low + high) / 2
            low, high = (middle, high) if watts_at(part, middle, die) <= limit else (low, middle)
        by_power = low
        # A thermal controller gives way by degrees at the ceiling and comes back below it.
        cap = float(np.clip(cap + 0.004 * (part.ceiling - die) + 0.001 * random.normal(), 0.2, 1.0))
        share = min(1.0, by_power, cap) if working else 0.3
        watts = watts_at(part, share, die) if working else 3.0
        if not working:
            truth[i] = CODE["idle"]
        elif cap < min(by_power, 1.0) - 0.003:
            truth[i] = CODE["thermal"]
        elif by_power < 0.995:
            truth[i] = CODE["power"]
        else:
            truth[i] = CODE["free"]
        rows[i] = die, share * part.free_mhz, watts, 100.0 if working else 2.0
        sink += (part.room + part.sink_kelvin_per_watt * watts - sink) / part.sink_seconds
        die += (sink + part.die_kelvin_per_watt * watts - die) / part.die_seconds
    celsius = np.round(rows[:, 0] + 0.4 * noise * random.normal(size=n))
    clock = rows[:, 1] + noise * (4.0 + 12.0 * (rows[:, 1] < 0.99 * part.free_mhz)) * random.normal(size=n)
    drawn = rows[:, 2] * (1 + 0.004 * noise * random.normal(size=n))
    channels = {
        f"{domain}.temperature": celsius,
        f"{domain}.clock": clock,
        f"{domain}.power": drawn,
        f"{domain}.busy": np.clip(rows[:, 3] + random.normal(size=n), 0, 100),
    }
    return Trace(np.arange(n, dtype=float), channels), truth
