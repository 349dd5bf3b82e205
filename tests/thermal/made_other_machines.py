"""Machines unlike those of `made_machines`, one at a time: what the rules were never fitted to. Invented, not measured.

``desktop``: a large cooler that takes twenty minutes and a small rise; ``card``: a graphics card under a power limit
whose fan goes between two speeds with hysteresis; ``sparse``: a sample every five seconds, noisy, whole watts and
degrees; ``blind``: channels missing; ``draught``: the room changes by several degrees half way; ``lagging``: a power
controller that looks at a mean over ten seconds and a load that comes in phases. ``skin``: a tablet whose controller
keeps the temperature of its cover, which nothing measures, by lowering the power bit by bit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Trace

POPULATIONS = ("desktop", "card", "sparse", "blind", "draught", "lagging", "skin")


@dataclass(frozen=True)
class Other:
    """A machine: its domain, trace, the limiter by most of the time under load, and the limit that binds (or NaN)."""

    domain: str
    trace: Trace
    label: str
    limit: float


def other_machine(population: str, seed: int) -> Other:
    """One machine, drawn by its seed; free, power-limited, thermally limited in turn."""
    random = np.random.default_rng([seed, POPULATIONS.index(population)])
    label = ("free", "power", "thermal")[seed % 3]
    label = {"card": "power", "skin": "thermal"}.get(population, label)
    if population == "desktop" and label == "thermal":
        label = "free"
    domain = "gpu" if population == "card" else "cpu"
    full, mhz = random.uniform(20, 180), random.uniform(1500, 5000)
    static, leak, slope = random.uniform(0.1, 0.3), random.uniform(0.005, 0.018), random.uniform(0.2, 0.65)
    room, hot = random.uniform(17, 28), random.uniform(70, 92)
    if population == "desktop":
        hot = room + random.uniform(18, 35)
    die_tau, sink_tau = random.uniform(4, 15), random.uniform(100, 350)
    if population == "desktop":
        sink_tau = random.uniform(600, 1200)

    def draws(share: float, celsius: float, work: float) -> float:
        volts = max(1.0 - slope * (1.0 - share), 0.5)
        leaks = static * volts**2.5 * np.exp(leak * (celsius - 70.0))
        return float(full * (leaks + (1.0 - static) * volts**2 * share * work))

    warm = draws(1.0, hot, 1.0)
    limit = warm * random.uniform(0.6, 0.9) if label == "power" else np.inf
    resistance = (hot - room) / (limit if label == "power" else warm)
    ceiling = room + (hot - room) * random.uniform(0.7, 0.85) if label == "thermal" else np.inf
    n = int(random.uniform(14, 28) * 60)
    idle = int(random.choice([0, 30, 60]))
    die = sink = cover = room
    cap, allowed, mean, fast_fan, wander = 1.0, limit, 0.0, False, 0.0
    skin_ceiling = room + random.uniform(4, 6.5)
    if population == "skin":
        allowed, ceiling = warm * 1.2, np.inf
    rows = np.empty((n, 5))
    held = np.zeros(n, dtype=bool)
    for i in range(n):
        outside = room + (random.choice([-6.0, 6.0]) if i == n // 2 and population == "draught" else 0.0)
        room = outside if population == "draught" else room
        wander += 0.006 * random.normal() - wander / 8
        work = 1.0 + wander
        if population == "lagging":
            work *= 0.96 if (i // 25) % 2 else 1.04
        working = i >= idle
        top = min(cap, 1.0)
        if population == "lagging" and label == "power":
            # The mean is what is kept: the clock follows it with a delay.
            cap = float(np.clip(cap + 0.02 * (1.0 - mean / limit), 0.2, 1.0)) if working else 1.0
            share = min(cap, 1.0)
        else:
            low, high = 0.15, top
            for _ in range(12):
                middle = (low + high) / 2
                low, high = (middle, high) if draws(middle, die, work) <= allowed else (low, middle)
            share = top if draws(top, die, work) <= allowed else low
            cap = float(np.clip(cap + 0.003 * (ceiling - die), 0.2, 1.0)) if np.isfinite(ceiling) else 1.0
        held[i] = working and share < 0.995
        watts = draws(share, die, work) if working else 0.06 * full
        mean += (watts - mean) / 10.0
        breeze = 0.75 if fast_fan else 1.0
        fast_fan = population == "card" and (die > hot - 12 if not fast_fan else die > hot - 20)
        rows[i] = (
            die,
            share * mhz if working else 0.3 * mhz,
            watts,
            99.0 if working else 2.0,
            2600 if fast_fan else 1400,
        )
        sink += (room + 0.6 * resistance * breeze * watts - sink) / sink_tau
        die += (sink + 0.4 * resistance * watts - die) / die_tau
        cover += (room + 0.35 * (sink - room) - cover) / 240.0
        if population == "skin" and i % 10 == 0:
            allowed = float(np.clip(allowed * (1.0 + 0.004 * (skin_ceiling - cover)), 0.3 * warm, 1.2 * warm))
    every = 5 if population == "sparse" else int(random.choice([1, 1, 2]))
    data, t = rows[::every], np.arange(0.0, n, every)
    size, loud = t.size, 3.0 if population == "sparse" else 1.0
    channels = {
        f"{domain}.temperature": np.round(data[:, 0] + 0.4 * loud * random.normal(size=size)),
        f"{domain}.clock": np.round(data[:, 1] + 6 * loud * random.normal(size=size)),
        f"{domain}.power": np.round(
            data[:, 2] * (1 + 0.006 * loud * random.normal(size=size)), 0 if population == "sparse" else 2
        ),
        f"{domain}.busy": np.clip(data[:, 3] + random.normal(size=size), 0, 100),
        "fan.fan": np.round(data[:, 4] + 12 * random.normal(size=size)),
    }
    if population == "blind":
        gone = [("busy", "clock"), ("busy", "power"), ("busy", "temperature"), ("busy",)][int(random.integers(4))]
        for name in gone:
            del channels[f"{domain}.{name}"]
    if population == "skin" and held[idle:].mean() < 0.5:
        label = "free"
    return Other(domain, Trace(t, channels), label, float(limit))
