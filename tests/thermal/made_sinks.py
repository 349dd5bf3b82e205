"""Two sources on one heatsink with a fan that steps, loaded in turn; the coupling at the last fan speed is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Trace


@dataclass(frozen=True)
class Sink:
    """``trace`` of CPU alone, GPU alone, both; ``matrix``: settled K/W, rows warmed, at the fan speed of the end."""

    trace: Trace
    matrix: np.ndarray
    room: float


def sink(seed: int, *, fan_steps: bool = True, minutes: float = 14.0) -> Sink:
    """One machine, drawn by its seed; 1 Hz."""
    random = np.random.default_rng(seed)
    room = random.uniform(17, 28)
    die = random.uniform(0.12, 0.5), random.uniform(0.06, 0.3)
    to_room = random.uniform(0.12, 0.35)
    far = random.uniform(0.0, 0.08)  # what each has of a path of its own in the heatsink
    tau, quick = random.uniform(90, 240), random.uniform(4, 15)
    power = random.uniform(0.4, 0.8)
    levels = np.linspace(random.uniform(1000, 1700), random.uniform(2600, 4200), int(random.integers(3, 6)))
    heavy = random.uniform(35, 70), random.uniform(60, 130)
    phases = ((heavy[0], 6.0), (5.0, heavy[1]), (0.9 * heavy[0], heavy[1]))
    n = int(minutes * 60)
    own, shared = np.array([room, room]), room
    local = np.array([room, room])
    level = 0
    rows = []
    for i in range(3 * n):
        watts = np.array(phases[i // n])
        breeze = (levels[level] / levels[-1]) ** -power if fan_steps else 1.0
        shared += (room + to_room * breeze * watts.sum() - shared) / (tau * breeze)
        local += (shared + far * breeze * watts - local) / 30.0
        own += (local + np.array(die) * watts - own) / quick
        if fan_steps and i % 5 == 0:
            wanted = (own.max() - 48.0) / 34.0 * (len(levels) - 1)
            level = level + 1 if wanted > level + 1 and level < len(levels) - 1 else level
            level = level - 1 if wanted < level - 0.8 and level > 0 else level
        rows.append((*own, *watts, levels[level]))
    data = np.array(rows)
    breeze = (levels[level] / levels[-1]) ** -power if fan_steps else 1.0
    matrix = np.full((2, 2), to_room * breeze) + np.diag([die[0] + far * breeze, die[1] + far * breeze])
    size = data.shape[0]
    channels = {
        "cpu.temperature": np.round(data[:, 0] + 0.4 * random.normal(size=size)),
        "gpu.temperature": np.round(data[:, 1] + 0.4 * random.normal(size=size)),
        "cpu.power": data[:, 2] * (1 + 0.01 * random.normal(size=size)),
        "gpu.power": data[:, 3] * (1 + 0.01 * random.normal(size=size)),
        "room.temperature": np.full(size, room) + 0.1 * random.normal(size=size),
        "fan.fan": np.round(data[:, 4] + 12 * random.normal(size=size)),
    }
    return Sink(Trace(np.arange(float(size)), channels), matrix, room)
