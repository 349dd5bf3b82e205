"""The virtual laptop of the demo: a lumped thermal network, V squared f power, limits, fans and their sound.

Every number is invented for a machine that does not exist. The physics is the textbook's: dynamic power goes with
V squared times f (Weste and Harris, CMOS VLSI Design), heat flows through thermal resistances into capacitances.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from surefoot.runs import Floats, Trace

CEILING_CPU = 95.0
CEILING_GPU = 87.0
TOP_CPU_GHZ = 3.75
REFERENCE_RPM = 4800.0
REFERENCE_DB = 48.5


@dataclass(frozen=True, slots=True)
class Mode:
    """A power mode: long-term power limits in W, and how hard the fans try (rpm per degree of the heatsink)."""

    cpu_watts: float
    gpu_watts: float
    fan_base: float
    fan_slope: float
    fan_max: float


MODES = {
    "quiet": Mode(25, 55, 1300, 32, 3100),
    "balanced": Mode(45, 80, 1700, 52, 4100),
    "performance": Mode(60, 95, 2100, 75, 4800),
}


@dataclass(frozen=True, slots=True)
class Cooling:
    """Thermal resistances in K/W: die to heatsink for each chip, and heatsink to air at the fans' full speed."""

    cpu_to_sink: float
    gpu_to_sink: float
    sink_to_air: float


COOLINGS = {
    "as it came": Cooling(0.44, 0.150, 0.305),
    "new paste, cooling pad": Cooling(0.33, 0.115, 0.262),
}


@dataclass(frozen=True, slots=True)
class Tuning:
    """What the knobs are at: CPU offset in mV (0 or less), GPU offset in MHz (0 or more)."""

    cpu_offset_mv: float = 0.0
    gpu_offset_mhz: float = 0.0


@dataclass(frozen=True, slots=True)
class Steady:
    """Means over the second half of a run, for scores and instruments."""

    cpu_mhz: float
    gpu_mhz: float
    cpu_watts: float
    gpu_watts: float
    sink_celsius: float
    fan_rpm: float


def cpu_volts(ghz: float, offset_mv: float) -> float:
    """Voltage the CPU runs at for a clock, V: a quadratic curve and the offset."""
    return 0.62 + 0.055 * ghz + 0.026 * ghz * ghz + offset_mv / 1000.0


def gpu_volts(mhz: float, offset_mhz: float) -> float:
    """Voltage the GPU runs at for a clock, V: the curve is shifted along by a clock offset."""
    ghz = (mhz - offset_mhz) / 1000.0
    return 0.58 + 0.04 * ghz + 0.075 * ghz * ghz


def cpu_power(ghz: float, offset_mv: float, busy: float, celsius: float) -> float:
    """Package power, W: activity V squared f, leakage that doubles in 50 K, and the uncore's share."""
    volts = cpu_volts(ghz, offset_mv)
    return 11.6 * busy * volts * volts * ghz + 2.2 * volts * math.exp2((celsius - 60.0) / 50.0) + 3.0


def gpu_power(mhz: float, offset_mhz: float, busy: float, celsius: float) -> float:
    """Board power, W; as for the CPU."""
    volts = gpu_volts(mhz, offset_mhz)
    return 44.0 * busy * volts * volts * mhz / 1000.0 + 3.0 * volts * math.exp2((celsius - 60.0) / 50.0) + 9.0


def fan_sound(rpm: float) -> float:
    """Sound level of the fans alone, dB(A): about 50 decibels a decade of speed (fan laws, from memory)."""
    return REFERENCE_DB + 50.0 * math.log10(max(rpm, 600.0) / REFERENCE_RPM)


def simulate(
    mode: Mode,
    cooling: Cooling,
    tuning: Tuning,
    room: float,
    minutes: float,
    rng: np.random.Generator,
    *,
    cpu_busy: float = 1.0,
    gpu_busy: float = 1.0,
    start: float = 41.0,
    sample_seconds: int = 2,
) -> tuple[Trace, Steady]:
    """A run on the virtual laptop: its trace in canonical channels, and the means of its second half.

    Two dies on one heatsink, stepped at one second; ``room`` and ``start`` in Celsius, the busy shares 0 to 1.
    """
    steps = max(round(minutes * 60), 4)
    state = _State(cpu=start, gpu=start, sink=start - 2, rpm=mode.fan_base, cpu_ghz=TOP_CPU_GHZ, gpu_mhz=1900.0)
    scenes = _scenes(steps, rng)
    rows = np.empty((steps, 10))
    for second in range(steps):
        busy = scenes[second]
        state = _second(state, mode, cooling, tuning, room, cpu_busy * busy, gpu_busy * (1.5 - 0.5 * busy))
        rows[second] = (
            state.cpu, state.gpu, state.sink, state.rpm, state.cpu_ghz * 1000, state.gpu_mhz,
            state.cpu_watts, state.gpu_watts, state.thermal, state.power,
        )  # fmt: skip
    half = rows[steps // 2 :].mean(axis=0)
    steady = Steady(half[4], half[5], half[6], half[7], half[2], half[3])
    return _sensed(rows[::sample_seconds], tuning, room, cpu_busy, gpu_busy, rng, sample_seconds), steady


@dataclass(frozen=True, slots=True)
class _State:
    cpu: float
    gpu: float
    sink: float
    rpm: float
    cpu_ghz: float
    gpu_mhz: float
    cpu_watts: float = 0.0
    gpu_watts: float = 0.0
    thermal: float = 0.0
    power: float = 0.0


def _second(
    s: _State, mode: Mode, cooling: Cooling, tuning: Tuning, room: float, cpu_busy: float, gpu_busy: float
) -> _State:
    # Clocks: what the power limit allows, pulled down in proportion to how far the die is past its ceiling.
    by_power = _clock_for(
        mode.cpu_watts, 0.8, TOP_CPU_GHZ, lambda f: cpu_power(f, tuning.cpu_offset_mv, cpu_busy, s.cpu)
    )
    by_heat = s.cpu_ghz + 0.06 * (CEILING_CPU - 0.6 - s.cpu)
    thermal = by_heat < min(by_power, TOP_CPU_GHZ)
    cpu_ghz = min(max(min(by_power, by_heat), 0.8), TOP_CPU_GHZ)
    top = 2150.0 + tuning.gpu_offset_mhz
    gpu_mhz = _clock_for(mode.gpu_watts, 600.0, top, lambda f: gpu_power(f, tuning.gpu_offset_mhz, gpu_busy, s.gpu))
    gpu_mhz = min(gpu_mhz, s.gpu_mhz + 25.0 * (CEILING_GPU - s.gpu) + 60.0)
    cpu_watts = cpu_power(cpu_ghz, tuning.cpu_offset_mv, cpu_busy, s.cpu)
    gpu_watts = gpu_power(gpu_mhz, tuning.gpu_offset_mhz, gpu_busy, s.gpu)
    wanted = min(mode.fan_base + mode.fan_slope * max(s.sink - 42.0, 0.0), mode.fan_max)
    rpm = s.rpm + (wanted - s.rpm) / 12.0
    to_air = cooling.sink_to_air * (REFERENCE_RPM / rpm) ** 0.55
    from_cpu = (s.cpu - s.sink) / cooling.cpu_to_sink
    from_gpu = (s.gpu - s.sink) / cooling.gpu_to_sink
    out = (s.sink - room) / to_air
    return replace(
        s,
        cpu=s.cpu + (cpu_watts - from_cpu) / 16.0,
        gpu=s.gpu + (gpu_watts - from_gpu) / 38.0,
        sink=s.sink + (from_cpu + from_gpu - out) / 420.0,
        rpm=rpm,
        cpu_ghz=cpu_ghz,
        gpu_mhz=gpu_mhz,
        cpu_watts=cpu_watts,
        gpu_watts=gpu_watts,
        thermal=float(thermal),
        power=float(not thermal and cpu_ghz < TOP_CPU_GHZ - 1e-6),
    )


def _clock_for(watts: float, low: float, high: float, power: Callable[[float], float]) -> float:
    """The clock at which the power reaches the limit, by bisection; the top clock where it never does."""
    if power(high) <= watts:
        return high
    for _ in range(14):
        middle = 0.5 * (low + high)
        if power(middle) > watts:
            high = middle
        else:
            low = middle
    return low


def _scenes(steps: int, rng: np.random.Generator) -> Floats:
    """How busy the load keeps the machine: scenes of 20 to 60 seconds, each a little different."""
    busy = np.ones(steps)
    at = 0
    while at < steps:
        length = int(rng.integers(20, 61))
        busy[at : at + length] = rng.uniform(0.86, 1.0)
        at += length
    return busy


def _sensed(
    rows: Floats, tuning: Tuning, room: float, cpu_busy: float, gpu_busy: float, rng: np.random.Generator, every: int
) -> Trace:
    """What the sensors make of it: rounded as they round, with a little noise and a spike now and then."""
    n = len(rows)
    spikes = np.where(rng.random(n) < 0.012, rng.uniform(1.5, 4.0, n), 0.0)
    cpu, gpu, _, rpm, cpu_mhz, gpu_mhz, cpu_watts, gpu_watts, thermal, power = rows.T
    jitter = rng.normal(0, 1, (6, n))
    # Bits of the NVML API reference, clocks event reasons: 0x4 software power cap.
    reasons = np.where(gpu_mhz < 2145.0 + tuning.gpu_offset_mhz, 4.0, 0.0)
    channels = {
        "cpu.temperature": np.round(np.minimum(cpu + 0.4 * jitter[0] + spikes, CEILING_CPU + 2)),
        "gpu.temperature": np.round(gpu + 0.3 * jitter[1]),
        "cpu.clock": np.round(cpu_mhz + 12 * jitter[2]),
        "gpu.clock": np.round((gpu_mhz + 5 * jitter[3]) / 15) * 15,
        "cpu.power": np.round(cpu_watts + 0.5 * jitter[4], 1),
        "gpu.power": np.round(gpu_watts + 0.7 * jitter[5], 1),
        "cpu.voltage": np.round([cpu_volts(mhz / 1000, tuning.cpu_offset_mv) for mhz in cpu_mhz], 3),
        "cpu.fan": np.round(rpm / 10) * 10,
        "cpu.busy": np.full(n, round(100 * cpu_busy, 1)),
        "gpu.busy": np.full(n, round(99 * gpu_busy, 1)),
        "cpu.thermal-flag": thermal,
        "cpu.power-flag": power,
        "gpu.reasons": reasons,
        "room.temperature": np.round(room + 0.05 * rng.normal(size=n), 1),
    }
    return Trace(np.arange(n, dtype=np.float64) * every, channels)
