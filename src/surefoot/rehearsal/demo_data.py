"""The demo's story: the Low Mill bench tunes `shoebox-3`, a laptop that does not exist, and shows what was gained.

Yields what happened, oldest first; it writes nothing. `guide.demo.write_happenings` puts
it into a journal.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from surefoot.rehearsal.demo_bench import (
    COOLINGS,
    MODES,
    Steady,
    Tuning,
    fan_sound,
    simulate,
)
from surefoot.runs import Closing, Floats, Outcome, Reading, Run, RunPlan, Score, Trace
from surefoot.units import Conditions, GoalCard, Knob, LoadCard, Setting, Unit

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
LOAD = "mill-race"
CPU_LOAD = "weir-check"
GPU_LOAD = "lantern-walk"
REPEATS = 5


@dataclass(frozen=True)
class Happening:
    """One run of the story, ready for `Journal.log_run`: when, the plan, the closing, and what belongs to it."""

    at: datetime
    plan: RunPlan
    closing: Closing
    trace: Trace | None = None
    scores: tuple[Score, ...] = ()
    readings: tuple[Reading, ...] = ()


@dataclass(frozen=True)
class Edge:
    """Where a knob really ends: MTTF one hour at depth ``middle``, ten times less every ``per_decade`` deeper."""

    middle: float
    per_decade: float

    def failures_per_hour(self, depth: float) -> float:
        """The hazard at a depth."""
        return float(10.0 ** min((depth - self.middle) / self.per_decade, 6.0))


EDGES = {"cpu-core": Edge(111.0, 5.2), "gpu-core": Edge(152.0, 8.5)}


@dataclass(frozen=True, slots=True)
class Stage:
    """One configuration that is measured: the words for it, and what is set."""

    name: str
    mode: str
    cooling: str
    setting: Setting
    tuning: Tuning = field(default_factory=Tuning)


def demo_unit(name: str = "shoebox-3") -> Unit:
    """The card of the virtual laptop."""
    return Unit(
        name=name,
        parts={
            "processor": "8 cores, 45 W class",
            "graphics": "laptop graphics, 95 W board power",
            "memory": "32 GB, two modules",
            "cooling": "two fans, three pipes, one shared heatsink",
        },
        firmware="F-1.12",
        driver="G-204.3",
        cooling="as it came",
        power_mode="performance",
        supply="its own adapter, 230 W",
        supply_watts=230,
        ceilings_celsius={"cpu": 95, "gpu": 87},
        power_limits_watts={"cpu": 60, "gpu": 95},
        knobs=(
            Knob("cpu-core", "cpu", "mV", "down", 5, 180, load=CPU_LOAD),
            Knob("cpu-cache", "cpu", "mV", "down", 5, 180, load=CPU_LOAD, linked_to="cpu-core"),
            Knob("gpu-core", "gpu", "MHz", "up", 15, 240, load=GPU_LOAD),
        ),
        loads=(
            LoadCard(name=CPU_LOAD, instructions="Self-checking sums on every core.", exercises=("cpu",), soft=True),
            LoadCard(name=GPU_LOAD, instructions="The lantern scene, in a loop.", exercises=("gpu",)),
            LoadCard(name=LOAD, instructions="Sums and the lantern scene together.", exercises=("cpu", "gpu")),
        ),
        goal=GoalCard(mttf_hours=100, confidence=0.90),
        notes="Low Mill bench, second shelf. Rehearsal data: this machine does not exist.",
    )


def demo_happenings(seed: int = 15, *, unit: Unit | None = None, start: datetime = START) -> Iterator[Happening]:
    """The whole story, oldest first: measured as it came, searched, measured again."""
    unit = unit or demo_unit()
    clock = _Clock(start)
    rng = np.random.default_rng(seed)
    yield from _measured(unit, stages_as_it_came(), clock, rng)
    yield from _mishaps(unit, clock)
    searched = list(search_happenings(unit, rng, clock_at=clock.now))
    yield from searched
    clock.now = searched[-1].at + timedelta(minutes=searched[-1].closing.minutes + 30)
    yield from _measured(unit, stages_tuned(unit, deepest_held(unit, searched)), clock, rng)


def measurements(seed: int, unit: Unit, tuned: Setting, *, start: datetime = START) -> Iterator[Happening]:
    """Only the measured runs, for a unit that was searched elsewhere and may hold ``tuned``."""
    clock = _Clock(start)
    rng = np.random.default_rng(seed)
    yield from _measured(unit, stages_as_it_came() + stages_tuned(unit, tuned), clock, rng)


def stages_as_it_came() -> list[Stage]:
    """Each power mode, at stock; the one that the rest is compared with first."""
    stock = Setting()
    return [
        Stage("performance mode", "performance", "as it came", stock),
        Stage("balanced mode", "balanced", "as it came", stock),
        Stage("quiet mode", "quiet", "as it came", stock),
    ]


def stages_tuned(unit: Unit, tuned: Setting) -> list[Stage]:
    """Undervolted; overclocked as well; cooled better as well."""
    cpu, gpu = tuned.value("cpu-core"), tuned.value("gpu-core")
    under = unit.setting_at({"cpu-core": -cpu})
    both = unit.setting_at({"cpu-core": -cpu, "gpu-core": gpu})
    better = "new paste, cooling pad"
    return [
        Stage("undervolted", "performance", "as it came", under, Tuning(cpu, 0.0)),
        Stage("undervolted and overclocked", "performance", "as it came", both, Tuning(cpu, gpu)),
        Stage("tuned and better cooled", "performance", better, both, Tuning(cpu, gpu)),
    ]


def configuration_names(happenings: Iterable[Happening]) -> dict[str, str]:
    """What the tester calls each configuration, in the order of the story: name by the key of the configuration."""
    from surefoot.scores.configurations import key_of, parts_of

    names: dict[str, str] = {}
    for one in happenings:
        if one.plan.purpose == "measure":
            run = Run(id=0, opened_at=one.at, plan=one.plan, closed_at=one.at, closing=one.closing)
            names.setdefault(key_of(parts_of(run)), one.plan.note)
    return names


def deepest_held(unit: Unit, happenings: list[Happening]) -> Setting:
    """The setting of the last joint run that held; stock when none did."""
    held = [one for one in happenings if one.plan.purpose == "joint" and one.closing.outcome is Outcome.HELD]
    return held[-1].plan.setting if held else Setting()


def search_happenings(unit: Unit, rng: np.random.Generator, *, clock_at: datetime = START) -> Iterator[Happening]:
    """The search as Surefoot itself plays it on the virtual edges: each step is what `plan` asks for."""
    from surefoot.search import Goal, plan

    goal = Goal(mttf_hours=unit.goal.mttf_hours, confidence=unit.goal.confidence)
    runs: list[Run] = []
    failures: Counter[str] = Counter()
    now = clock_at
    for number in range(1, 81):
        step = plan(unit, runs, goal)
        if step.stop:
            return
        loads = {"cpu-core": CPU_LOAD, "gpu-core": GPU_LOAD}
        planned = RunPlan(
            unit_name=unit.name,
            setting=step.setting,
            load=loads.get(step.knob, LOAD),
            planned_minutes=step.minutes,
            purpose="joint" if step.purpose == "joint" else "search",
            knob=step.knob or None,
            conditions=_conditions(unit, "performance", "as it came", 21.0 + rng.normal(0, 0.3)),
            source="virtual",
        )
        closing = _ending(unit, step.setting, step.minutes, failures, rng)
        happening = Happening(now, planned, closing, _search_trace(planned, closing, rng))
        yield happening
        closed = now + timedelta(minutes=closing.minutes)
        runs.append(
            Run(id=number, opened_at=now, plan=planned, applied=step.setting, closed_at=closed, closing=closing)
        )
        pause = 9 if closing.outcome.is_crash else 3
        now = closed + timedelta(minutes=pause)
        if now.hour >= 18:
            now = (now + timedelta(days=1)).replace(hour=9, minute=5, second=0)


class _Clock:
    def __init__(self, now: datetime) -> None:
        self.now = now

    def take(self, minutes: float) -> datetime:
        """The moment now, and go on by that many minutes."""
        moment = self.now
        self.now += timedelta(minutes=minutes)
        if self.now.hour >= 18:
            self.now = (self.now + timedelta(days=1)).replace(hour=9, minute=0, second=0)
        return moment


def _conditions(unit: Unit, mode: str, cooling: str, room: float) -> Conditions:
    return Conditions(
        ambient_celsius=round(float(room), 1),
        power_mode=mode,
        cooling=cooling,
        supply=unit.supply,
        firmware=unit.firmware,
        driver=unit.driver,
        operating_system="bench image 7",
    )


def _ending(unit: Unit, setting: Setting, minutes: float, failures: Counter[str], rng: np.random.Generator) -> Closing:
    """How the virtual machine takes it: the knobs' hazards add, and the sooner one ends the run."""
    depths = unit.depths(setting)
    times = {name: float(rng.exponential(60.0 / edge.failures_per_hour(depths[name]))) for name, edge in EDGES.items()}
    culprit = min(times, key=lambda name: times[name])
    if times[culprit] >= minutes:
        return Closing(outcome=Outcome.HELD, minutes=minutes, judged_by="the load ran to its end", setting=setting)
    after = max(round(times[culprit], 2), 0.1)
    outcome, judged, detail = _failure(culprit, failures[culprit], rng)
    failures[culprit] += 1
    read_back = None if outcome.is_crash else setting
    return Closing(outcome=outcome, minutes=after, judged_by=judged, setting=read_back, detail=detail)


# How each part fails: in this order first, so that the story has both a caught error and a crash; then by chance.
_FAILURES: Mapping[str, tuple[tuple[Outcome, str], ...]] = {
    "cpu-core": (
        (Outcome.MISCOMPUTE, "a worker found a wrong sum"),
        (Outcome.RESET, "another boot identity at the next start"),
        (Outcome.HANG, "no heartbeat for 60 s; switched off by hand"),
    ),
    "gpu-core": (
        (Outcome.DRIVER_RESET, "the system log names a reset of the graphics driver"),
        (Outcome.SLOW, "the score fell 4 % below the runs at stock"),
        (Outcome.HANG, "no heartbeat for 60 s; switched off by hand"),
    ),
}
_CHANCES = (0.55, 0.3, 0.15)


def _failure(culprit: str, before: int, rng: np.random.Generator) -> tuple[Outcome, str, dict[str, object]]:
    """How a failure shows itself; ``before``: how many of this knob there were."""
    ways = _FAILURES[culprit]
    outcome, judged = ways[before if before < 2 else int(rng.choice(len(ways), p=_CHANCES))]
    if outcome is Outcome.MISCOMPUTE:
        return outcome, judged, {"processor": int(rng.integers(0, 16)), "kernel": "matrix product"}
    return outcome, judged, {"score_ratio": 0.96} if outcome is Outcome.SLOW else {}


def _search_trace(planned: RunPlan, closing: Closing, rng: np.random.Generator) -> Trace | None:
    """Sparse sensor rows of a search run; nothing for one that ended before the first rows were in."""
    if closing.minutes < 0.5:
        return None
    cpu, gpu = planned.setting.value("cpu-core"), planned.setting.value("gpu-core")
    trace, _ = simulate(
        MODES["performance"], COOLINGS["as it came"], Tuning(cpu, gpu), planned.conditions.ambient_celsius or 21.0,
        min(closing.minutes, 45.0), rng,
        cpu_busy=0.05 if planned.load == GPU_LOAD else 1.0,
        gpu_busy=0.03 if planned.load == CPU_LOAD else 1.0,
        sample_seconds=10,
    )  # fmt: skip
    return trace


def _measured(unit: Unit, stages: list[Stage], clock: _Clock, rng: np.random.Generator) -> Iterator[Happening]:
    for stage in stages:
        for repeat in range(REPEATS):
            room = 21.0 + 0.8 * math.sin(clock.now.hour / 3.0) + float(rng.normal(0, 0.3))
            trace, steady = simulate(MODES[stage.mode], COOLINGS[stage.cooling], stage.tuning, room, 12.0, rng)
            at = clock.take(22)
            plan = RunPlan(
                unit_name=unit.name, setting=stage.setting, load=LOAD, planned_minutes=12, purpose="measure",
                conditions=_conditions(unit, stage.mode, stage.cooling, room), source="virtual", note=stage.name,
            )  # fmt: skip
            closing = Closing(
                outcome=Outcome.HELD, minutes=12, judged_by="the load ran to its end", setting=stage.setting
            )
            readings = _instruments(steady, room, stage, at, rng) if repeat < 3 else ()
            yield Happening(at, plan, closing, trace, _scores(steady, rng), readings)


def _scores(steady: Steady, rng: np.random.Generator) -> tuple[Score, ...]:
    """Points follow the CPU's clock, frames the GPU's, with a spread of somewhat under one percent."""
    points = 0.8 * steady.cpu_mhz * float(rng.normal(1, 0.006))
    mean_ms = 1000.0 / (96.0 * (steady.gpu_mhz / 1980.0) ** 0.85 * (steady.cpu_mhz / 3500.0) ** 0.15)
    frames = frame_times(mean_ms * float(rng.normal(1, 0.007)), 120.0, rng)
    average = 1000.0 * len(frames) / float(frames.sum())
    low = 1000.0 / float(np.percentile(frames, 99))
    return (
        Score(name="mill sums", value=round(points), unit="points"),
        Score(name="lantern walk, average", value=round(average, 1), unit="fps"),
        Score(name="lantern walk, 1 % low", value=round(low, 1), unit="fps", note="99th percentile of frame times"),
    )


def frame_times(mean_ms: float, seconds: float, rng: np.random.Generator) -> Floats:
    """Milliseconds of each frame of a scene: a skewed spread, and a stutter now and then."""
    count = max(int(seconds * 1000.0 / mean_ms), 10)
    frames = mean_ms * rng.lognormal(-0.5 * 0.14**2, 0.14, count)
    stutter = rng.random(count) < 0.004
    return np.asarray(np.where(stutter, frames * rng.uniform(2.0, 4.0, count), frames), dtype=np.float64)


def _instruments(
    steady: Steady, room: float, stage: Stage, at: datetime, rng: np.random.Generator
) -> tuple[Reading, ...]:
    """The microphone, the thermometer and the wall meter, read near the end of the run."""
    background = round(33.0 + float(rng.normal(0, 0.4)), 1)
    sound = 10 * math.log10(10 ** (fan_sound(steady.fan_rpm) / 10) + 10 ** (background / 10))
    sound += float(rng.normal(0, 0.25))
    rise = steady.sink_celsius - room
    pad = 0.86 if "pad" in stage.cooling else 1.0
    share = {"keyboard, middle": 0.64, "palm rest, left": 0.22, "underside, rear": 0.72 * pad}
    moment = at + timedelta(minutes=11)
    surfaces = tuple(
        Reading(kind="surface", value=round(room + part * rise + float(rng.normal(0, 0.4)), 1), place=place, at=moment)
        for place, part in share.items()
    )
    wall = (steady.cpu_watts + steady.gpu_watts + 24.0) / 0.88 + float(rng.normal(0, 1.0))
    charge = 100.0 if wall < 200 else 98.0
    return (
        Reading(kind="sound", value=round(sound, 1), background=background, place="50 cm in front", at=moment),
        *surfaces,
        Reading(kind="wall-power", value=round(wall, 1), at=moment),
        Reading(kind="battery", value=charge, at=moment),
    )


def _mishaps(unit: Unit, clock: _Clock) -> Iterator[Happening]:
    """Two runs that say nothing about stability, as any bench has them."""
    blocked = RunPlan(
        unit_name=unit.name, setting=Setting(), load=LOAD, planned_minutes=10, purpose="baseline",
        conditions=_conditions(unit, "performance", "rear vent covered by mistake", 21.4), source="virtual",
    )  # fmt: skip
    hot = Closing(outcome=Outcome.OVERHEAT, minutes=3.4, judged_by="CPU above its ceiling for two samples")
    yield Happening(clock.take(12), blocked, hot)
    stopped = RunPlan(
        unit_name=unit.name, setting=Setting(), load=CPU_LOAD, planned_minutes=10, purpose="search", knob="cpu-core",
        conditions=_conditions(unit, "performance", "as it came", 21.2), source="virtual",
    )  # fmt: skip
    yield Happening(
        clock.take(10), stopped, Closing(outcome=Outcome.VOID, minutes=2.0, judged_by="stopped by hand: the bell rang")
    )
