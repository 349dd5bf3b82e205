"""A population of made-up machines whose limiter, end temperatures and resistances are known. Invented, not measured.

Every machine is a die on a heatsink, some on a chassis that warms in half an hour, with a fan that may step; what holds
the clock is one of `KINDS`. Two worlds differ in the ranges that everything is drawn from and in how controllers
behave: ``dev`` is what the rules were made on, ``held`` was held out. All machines of a population are stepped at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surefoot.runs import Trace
from surefoot.thermal.labels import CODE, LABELS
from surefoot.thermal.limits import Limits

KINDS = ("free", "thermal", "long-term", "short-then-long", "current", "wrong-card", "past-the-ceiling")

RANGES = {
    "dev": {
        "full_watts": (18.0, 130.0), "free_mhz": (2200.0, 4800.0), "static": (0.12, 0.28), "leak": (0.006, 0.016),
        "slope": (0.25, 0.6), "hot": (62.0, 92.0), "die_share": (0.25, 0.6), "die_tau": (4.0, 20.0),
        "sink_tau": (90.0, 320.0), "limit": (0.55, 0.93), "boost": (1.1, 1.7), "boost_seconds": (12.0, 60.0),
        "celsius_noise": (0.1, 0.7), "watts_noise": (0.002, 0.012), "mhz_noise": (2.0, 15.0),
        "activity_noise": (0.0, 0.015), "cap": (0.8, 0.95), "minutes": (10.0, 25.0), "chassis_tau": (900.0, 2400.0),
        "chassis_share": (0.08, 0.2),
    },
    "held": {
        "full_watts": (9.0, 320.0), "free_mhz": (1300.0, 5400.0), "static": (0.05, 0.35), "leak": (0.003, 0.022),
        "slope": (0.15, 0.75), "hot": (55.0, 98.0), "die_share": (0.15, 0.75), "die_tau": (3.0, 35.0),
        "sink_tau": (60.0, 500.0), "limit": (0.45, 0.96), "boost": (1.08, 2.2), "boost_seconds": (8.0, 110.0),
        "celsius_noise": (0.0, 1.1), "watts_noise": (0.001, 0.02), "mhz_noise": (0.0, 30.0),
        "activity_noise": (0.0, 0.03), "cap": (0.72, 0.97), "minutes": (8.0, 40.0), "chassis_tau": (700.0, 3600.0),
        "chassis_share": (0.05, 0.28),
    },
}  # fmt: skip


@dataclass
class Machine:
    """One machine as it was drawn: what is true of it, its trace, and the limits on its card when it has a card."""

    kind: str
    seed: int
    trace: Trace
    truth: np.ndarray  # label code of each sample
    card: Limits
    final_celsius: float  # settled, at the last fan step and the power of the end; NaN where power still moves
    throttle_celsius: float
    power_limit: float
    boost_watts: float
    boost_until: float  # seconds of the trace; NaN without
    minutes: float
    notes: dict[str, float] = field(default_factory=dict)

    @property
    def label(self) -> str:
        """What truly holds the clock for most of the time under load."""
        of_load = self.truth[self.truth != CODE["idle"]]
        return LABELS[int(np.bincount(of_load, minlength=len(LABELS)).argmax())]


def machines(
    kind: str,
    count: int,
    seed: int = 0,
    world: str = "dev",
    *,
    chassis: bool | None = False,
    fan_steps: bool | None = False,
    hide: bool = False,
    minutes: float | None = None,
) -> list[Machine]:
    """``count`` machines of a kind. ``chassis``, ``fan_steps``: None draws either; ``hide``: leave channels out."""
    random = np.random.default_rng([seed, KINDS.index(kind), world == "held"])
    ranges = RANGES[world]
    m = count

    def draw(name: str) -> np.ndarray:
        low, high = ranges[name]
        if low > 0 and high / low > 4:
            return np.exp(random.uniform(np.log(low), np.log(high), m))
        return random.uniform(low, high, m)

    full, mhz, static, leak, slope = (draw(name) for name in ("full_watts", "free_mhz", "static", "leak", "slope"))
    die_share, die_tau, sink_tau = draw("die_share"), draw("die_tau"), draw("sink_tau")
    hot, room = draw("hot"), random.uniform(16, 30, m)
    has_chassis = np.full(m, bool(chassis)) if chassis is not None else random.random(m) < 0.4
    has_fan = np.full(m, bool(fan_steps)) if fan_steps is not None else random.random(m) < 0.4
    chassis_share = np.where(has_chassis, draw("chassis_share"), 0.0)
    chassis_tau = draw("chassis_tau")
    span = (np.full(m, minutes) if minutes is not None else draw("minutes")) * 60.0
    n = int(span.max())

    def watts_at(share: np.ndarray, celsius: np.ndarray, act: np.ndarray) -> np.ndarray:
        volts = np.maximum(1.0 - slope * (1.0 - share), 0.5)
        grown = np.exp(np.clip(leak * (celsius - 70.0), -2.0, 1.2))
        return full * (static * volts**2.5 * grown + (1.0 - static) * volts**2 * share * act)

    # The limit is a share of what the part draws free and warm, so that it truly binds.
    warm = watts_at(np.ones(m), hot, np.ones(m))
    limit = np.full(m, np.inf)
    boost = np.full(m, np.inf)
    boost_seconds = np.zeros(m)
    throttle = np.full(m, np.inf)
    cap_clock = np.ones(m)
    cap_amps = np.full(m, np.inf)
    watts_end = warm.copy()
    if kind in ("long-term", "short-then-long", "wrong-card", "past-the-ceiling"):
        limit = warm * draw("limit")
        watts_end = limit
        if kind == "short-then-long" or kind != "long-term":
            short = np.ones(m, bool) if kind == "short-then-long" else random.random(m) < 0.4
            boost = np.where(short, limit * draw("boost"), np.inf)
            boost_seconds = np.where(short, draw("boost_seconds"), 0.0)
    by_budget = random.random(m) < 0.4  # boost ends when a running average reaches the limit, and not by the clock
    if kind == "current":
        volts_free = np.ones(m)
        fixed = random.random(m) < 0.5
        cap_clock = np.where(fixed, draw("cap"), 1.0)
        share = draw("cap")
        now = watts_at(share, hot, np.ones(m)) / np.maximum(1.0 - slope * (1.0 - share), 0.5) / volts_free
        cap_amps = np.where(fixed, np.inf, now)
        watts_end = np.where(fixed, watts_at(cap_clock, hot, np.ones(m)), watts_at(share, hot, np.ones(m)))
    resistance = (hot - room) / watts_end
    if kind == "thermal":
        # Parts that hold themselves do so when hot: at 62 degrees and more.
        throttle = np.maximum(room + (hot - room) * random.uniform(0.65, 0.9, m), random.uniform(62, 70, m))
        hot = np.maximum(hot, throttle + random.uniform(6, 15, m))
        resistance = (hot - room) / watts_end
        boosted = random.random(m) < 0.3
        limit = np.where(boosted, warm * 1.3, np.inf)
    die_r, chassis_r = resistance * die_share * (1 - chassis_share), resistance * chassis_share
    sink_r = resistance - die_r - chassis_r
    # Heat capacities of the nodes by their time constants; the chassis passes on what the sink gives it.
    before = np.where(random.random(m) < 0.5, random.uniform(10, 90, m), 0.0)  # idle seconds first
    light = np.where((kind == "current") | (random.random(m) < 0.15), random.uniform(15, 60, m), 0.0)
    light_act = random.uniform(0.35, 0.6, m)
    stepped = random.random(m) < (0.4 if world == "dev" else 0.6)  # clocks in steps, controllers that go up and down
    step_mhz = random.choice([15.0, 25.0, 50.0, 100.0], m) if world == "held" else random.choice([12.5, 25.0, 50.0], m)
    step = step_mhz / mhz
    act_noise, act_tau = draw("activity_noise"), random.uniform(2, 15, m)
    gain = random.uniform(0.001, 0.006, m)
    starts_warm = random.uniform(0, 0.35, m) * (random.random(m) < 0.4)

    fan_levels = random.integers(3, 6, m)
    fan_low, fan_high = random.uniform(900, 1800, m), random.uniform(2600, 5200, m)
    fan_from, fan_to = 45 + random.uniform(0, 8, m), hot - random.uniform(3, 12, m)
    fan_power = random.uniform(0.4, 0.8, m)

    die = room + starts_warm * (hot - room)
    sink = room + starts_warm * (hot - room) * (1 - die_share)
    body = room + starts_warm * (hot - room) * chassis_share * 0.7
    level = np.zeros(m, dtype=int)
    cap = np.ones(m)
    free_cap = np.ones(m)
    average = np.zeros(m)
    act_wander = np.zeros(m)
    record = np.empty((n, 6, m))
    truth = np.zeros((n, m), dtype=np.int8)
    boost_over = np.full(m, np.nan)
    for i in range(n):
        working = i >= before
        in_light = working & (i < before + light)
        act_wander += (random.normal(size=m) * act_noise * np.sqrt(2 / act_tau)) - act_wander / act_tau
        act = np.where(in_light, light_act, 1.0) * (1 + act_wander)
        since = i - before
        spent = (
            np.where(by_budget, average > limit * 0.99, since > boost_seconds)
            | ~np.isfinite(boost)
            | ~np.isnan(boost_over)
        )
        boost_over = np.where(working & spent & np.isnan(boost_over) & np.isfinite(boost), float(i), boost_over)
        now = np.where(spent, limit, boost)
        low, high = np.full(m, 0.15), np.ones(m)
        for _ in range(14):
            middle = (low + high) / 2
            watts = watts_at(middle, die, act)
            fits = (watts <= now) & (watts / np.maximum(1.0 - slope * (1.0 - middle), 0.5) <= cap_amps)
            low, high = np.where(fits, middle, low), np.where(fits, high, middle)
        ideal = np.where(low > 0.9995, 1.0, low)
        by_current = np.isfinite(cap_amps) & (ideal < 0.997)
        heavy_cap = np.where(in_light, 1.0, cap_clock)
        by_current |= (heavy_cap < 1.0) & (ideal >= heavy_cap)
        ideal = np.minimum(ideal, heavy_cap)
        # A controller in steps dithers between two of them so that the mean is right; another lands just below.
        floor = np.floor(ideal / step) * step
        dithered = floor + step * (random.random(m) < (ideal - floor) / step)
        ideal = np.where(stepped & (ideal < 0.9995), np.clip(dithered, 0.15, 1.0), ideal)
        cap = np.clip(cap + gain * (throttle - die) + 0.0006 * random.normal(size=m), 0.2, 1.0)
        hysteresis = np.where(die >= throttle, -step, np.where(die < throttle - 1.0, step, 0.0)) * (i % 2 == 0)
        free_cap = np.where(np.isfinite(throttle), np.clip(free_cap + hysteresis, 0.2, 1.0), 1.0)
        heat_cap = np.where(stepped, free_cap, cap)
        share = np.where(working, np.minimum(ideal, heat_cap), random.uniform(0.2, 0.4, m))
        watts = np.where(working, watts_at(share, die, act), full * 0.05)
        average += (watts - average) / np.maximum(boost_seconds, 5.0)
        held_by_heat = heat_cap < np.minimum(ideal, 1.0) - 0.004
        truth[i] = np.where(
            ~working,
            CODE["idle"],
            np.where(
                held_by_heat,
                CODE["thermal"],
                np.where(by_current, CODE["current"], np.where(ideal < 0.995, CODE["power"], CODE["free"])),
            ),
        )
        rpm = fan_low + (fan_high - fan_low) * level / (fan_levels - 1)
        volts = np.maximum(1.0 - slope * (1.0 - share), 0.5)
        record[i] = die, share * mhz, watts, np.where(working, np.where(in_light, 60.0, 99.0), 2.0), rpm, volts
        breeze = np.where(has_fan, (rpm / fan_high) ** -fan_power, 1.0)
        body += (room + chassis_r * watts - body) / chassis_tau
        sink += (body + sink_r * breeze * watts - sink) / (sink_tau * breeze)
        die += (sink + die_r * watts - die) / die_tau
        wanted = (die - fan_from) / np.maximum(fan_to - fan_from, 5.0) * (fan_levels - 1)
        level = np.where(has_fan & (wanted > level + 1.0), level + 1, np.where(wanted < level - 1.2, level - 1, level))
        level = np.clip(level, 0, fan_levels - 1) * has_fan
    made = []
    celsius_noise, watts_noise, mhz_noise = draw("celsius_noise"), draw("watts_noise"), draw("mhz_noise")
    for k in range(m):
        t = np.arange(int(span[k]), dtype=float)
        every = int(random.choice([1, 1, 1, 2, 3] if world == "dev" else [1, 1, 2, 3, 5, 10]))
        keep = np.arange(0, t.size, every)
        if random.random() < 0.3:
            keep = keep[random.random(keep.size) > 0.1]
        data = record[keep, :, k]
        size = keep.size
        wait = t[keep] + (random.uniform(-0.3, 0.3, size) if random.random() < 0.3 else 0.0)
        wait = np.maximum.accumulate(wait)
        quantum = random.choice([1.0, 1.0, 0.5, 0.125, 0.0])
        warm_k = data[:, 0] + celsius_noise[k] * random.normal(size=size)
        grain = random.choice([0.01, 0.1, 0.1, 1.0]) if full[k] > 40 else 0.05
        watts_k = data[:, 2] * (1 + watts_noise[k] * random.normal(size=size))
        wait_mhz = data[:, 1] + mhz_noise[k] * random.normal(size=size) * (0.3 + 0.7 * (truth[keep, k] != CODE["free"]))
        channels = {
            "cpu.temperature": np.round(warm_k / quantum) * quantum if quantum else warm_k,
            "cpu.power": np.round(watts_k / grain) * grain,
            "cpu.clock": np.round(wait_mhz),
            "cpu.busy": np.clip(data[:, 3] + random.normal(size=size), 0, 100),
            "room.temperature": room[k] + 0.1 * random.normal(size=size),
        }
        if has_fan[k]:
            channels["fan.fan"] = np.round(data[:, 4] + 15 * random.normal(size=size))
        if random.random() < 0.4:
            channels["cpu.voltage"] = np.round(1.1 * data[:, 5], 3) + 0.002 * random.normal(size=size)
        if random.random() < 0.4:
            del channels["cpu.busy"]
        if hide:
            gone = random.choice(["cpu.clock", "cpu.power", "cpu.temperature", "cpu.busy"])
            channels.pop(gone, None)
        last = record[int(span[k]) - 1, :, k]
        moved = float((last[4] / fan_high[k]) ** -fan_power[k]) if has_fan[k] else 1.0
        end = np.mean(record[int(span[k]) - 60 : int(span[k]), 2, k])
        final = float(room[k] + (die_r[k] + chassis_r[k] + sink_r[k] * moved) * end)
        card = Limits()
        if kind == "wrong-card":
            card = Limits({"cpu": 105.0}, {"cpu": float(limit[k] + 15.0)})
        elif kind == "past-the-ceiling":
            card = Limits({"cpu": float(np.percentile(record[: int(span[k]), 0, k], 90) - random.uniform(0, 8))}, {})
        made.append(
            Machine(
                kind,
                k,
                Trace(wait, channels),
                truth[keep, k],
                card,
                final,
                float(throttle[k]),
                float(limit[k]),
                float(boost[k]),
                float(boost_over[k]),
                float(span[k]) / 60.0,
                {"room": float(room[k]), "end_watts": float(end), "leak": float(leak[k])},
            )
        )
    return made
