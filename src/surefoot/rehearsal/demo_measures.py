"""Measured runs of the demo's machine: a load held on it, with its scores and what instruments read."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from surefoot.rehearsal.demo_card import BOTH_LOAD, Stage
from surefoot.rehearsal.heat import fan_sound
from surefoot.rehearsal.machine import VirtualHands, VirtualMachine
from surefoot.runs import Closing, Floats, Outcome, Place, Reading, RunPlan, Score, Trace
from surefoot.scores.design import Trial
from surefoot.scores.frame_curves import curve_scores, percentiles
from surefoot.units import Conditions, Setting, Unit

REPEATS: Final = 5
WITH_INSTRUMENTS: Final = 3
MINUTES: Final = 12.0
SAMPLE_SECONDS: Final = 2.0
PAUSE_MINUTES: Final = 9.0
OTHER_WATTS: Final = 36.0
SUPPLY_EFFICIENCY: Final = 0.89
BACKGROUND_DB: Final = 22.5


@dataclass(frozen=True)
class Happening:
    """One run of the story, ready for `Journal.log_run`: when, the plan, the closing, and what belongs to it."""

    at: datetime
    plan: RunPlan
    closing: Closing
    trace: Trace | None = None
    scores: tuple[Score, ...] = ()
    readings: tuple[Reading, ...] = ()


def conditions(unit: Unit, machine: VirtualMachine, mode: str, cooling: str) -> Conditions:
    """The conditions of a run of the demo."""
    return Conditions(
        ambient_celsius=round(machine.room_celsius, 1),
        power_mode=mode,
        cooling=cooling,
        supply=unit.supply,
        firmware=unit.firmware,
        driver=unit.driver,
        operating_system=machine.operating_system(),
    )


def measured(unit: Unit, machine: VirtualMachine, stages: Sequence[Stage], seed: int) -> Iterator[Happening]:
    """Measure stage after stage on the machine, each several times. Its clock, heat and setting move along."""
    rng = np.random.default_rng([seed, 11])
    room = machine.room_celsius
    for stage in stages:
        machine.put(power_mode=stage.mode, cooling=stage.cooling)
        for repeat in range(REPEATS):
            machine.room_celsius = room + float(rng.normal(0, 0.3))
            yield _one(unit, machine, stage, rng, instruments=repeat < WITH_INSTRUMENTS)
            machine.sleep(PAUSE_MINUTES * 60)
    machine.room_celsius = room


def measured_in_blocks(
    unit: Unit, machine: VirtualMachine, stages: Sequence[Stage], trial: Trial, seed: int
) -> Iterator[Happening]:
    """Measure the stages as a trial, in its order; the room warms by a degree while it lasts, as rooms do."""
    rng = np.random.default_rng([seed, 12])
    room = machine.room_celsius
    turns = trial.order()
    for number, turn in enumerate(turns):
        stage = stages[turn.configuration]
        machine.put(power_mode=stage.mode, cooling=stage.cooling)
        machine.room_celsius = room + 1.0 * number / len(turns) + float(rng.normal(0, 0.2))
        one = _one(unit, machine, stage, rng, instruments=turn.block <= WITH_INSTRUMENTS)
        place = Place(trial=trial.number, block=turn.block, position=turn.position)
        yield replace(one, plan=one.plan.model_copy(update={"place": place}))
        machine.sleep(PAUSE_MINUTES * 60)
    machine.room_celsius = room


def _one(
    unit: Unit, machine: VirtualMachine, stage: Stage, rng: np.random.Generator, *, instruments: bool
) -> Happening:
    hands = VirtualHands(machine)
    at = machine.now()
    # What is measured is the setting found: that it lasts these minutes is the search's business, so none fails here.
    applied = hands.apply(unit, stage.setting)
    plan = RunPlan(
        unit_name=unit.name,
        setting=stage.setting,
        load=BOTH_LOAD,
        planned_minutes=MINUTES,
        purpose="measure",
        conditions=conditions(unit, machine, stage.mode, stage.cooling),
        source="virtual",
        note=stage.name,
    )
    seconds, samples, steady = watched(machine, BOTH_LOAD)
    names = list(samples[0])
    trace = Trace(seconds, {name: np.array([one[name] for one in samples]) for name in names})
    hands.apply(unit, Setting())
    closing = Closing(outcome=Outcome.HELD, minutes=MINUTES, judged_by="the load ran to its end", setting=applied)
    readings = _instruments(machine, steady, at + timedelta(minutes=MINUTES - 1), rng) if instruments else ()
    return Happening(at, plan, closing, trace, _scores(steady, rng), readings)


def watched(machine: VirtualMachine, load: str) -> tuple[Floats, list[dict[str, float]], dict[str, float]]:
    """Hold a load that cannot fail. Returns the seconds, the samples, and means of the machine's own truth over the
    second half: ``cpu.mhz``, ``gpu.mhz``, ``watts``, ``rpm``, ``air``, ``gpu.cooler``."""
    samples: list[dict[str, float]] = []
    truth: list[tuple[float, ...]] = []
    with machine.sure_to_hold(load):
        for _ in range(round(MINUTES * 60 / SAMPLE_SECONDS)):
            machine.sleep(SAMPLE_SECONDS)
            samples.append(machine.sample())
            body = machine.body
            truth.append(
                (
                    body.mhz["cpu"],
                    body.mhz["gpu"],
                    sum(body.watts.values()),
                    body.rpm,
                    body.air,
                    body.cooler["gpu"],
                )
            )
    seconds = np.arange(1, len(samples) + 1, dtype=np.float64) * SAMPLE_SECONDS
    means = np.array(truth[len(truth) // 2 :]).mean(axis=0)
    names = ("cpu.mhz", "gpu.mhz", "watts", "rpm", "air", "gpu.cooler")
    return seconds, samples, dict(zip(names, map(float, means), strict=True))


def _scores(steady: dict[str, float], rng: np.random.Generator) -> tuple[Score, ...]:
    """Points follow the CPU's clock, frames the GPU's, with a spread of somewhat under one percent."""
    points = 3.4 * steady["cpu.mhz"] * float(rng.normal(1, 0.006))
    mean_ms = 1000.0 / (141.0 * (steady["gpu.mhz"] / 2250.0) ** 0.85 * (steady["cpu.mhz"] / 4300.0) ** 0.15)
    frames = frame_times(mean_ms * float(rng.normal(1, 0.007)), 120.0, rng)
    average = 1000.0 * len(frames) / float(frames.sum())
    low = 1000.0 / float(np.percentile(frames, 99))
    return (
        Score(name="gear sums", value=round(points), unit="points"),
        Score(name="clock tower, average", value=round(average, 1), unit="fps"),
        Score(name="clock tower, 1 % low", value=round(low, 1), unit="fps", note="99th percentile of frame times"),
        *curve_scores("clock tower", percentiles(frames)),
    )


def frame_times(mean_ms: float, seconds: float, rng: np.random.Generator) -> Floats:
    """Milliseconds of each frame of a scene: a skewed spread, and a stutter now and then."""
    count = max(int(seconds * 1000.0 / mean_ms), 10)
    frames = mean_ms * rng.lognormal(-0.5 * 0.14**2, 0.14, count)
    stutter = rng.random(count) < 0.004
    return np.asarray(np.where(stutter, frames * rng.uniform(2.0, 4.0, count), frames), dtype=np.float64)


def _instruments(
    machine: VirtualMachine, steady: dict[str, float], at: datetime, rng: np.random.Generator
) -> tuple[Reading, ...]:
    """The microphone, the thermometer and the wall meter, read near the end of the run."""
    room = machine.room_celsius
    background = round(BACKGROUND_DB + float(rng.normal(0, 0.4)), 1)
    sound = 10 * math.log10(10 ** (fan_sound(steady["rpm"]) / 10) + 10 ** (background / 10))
    sound += float(rng.normal(0, 0.25))
    air, cooler = steady["air"] - room, steady["gpu.cooler"] - room
    rises = {
        "top panel, over the vent": 0.72 * air + 0.11 * cooler,
        "side panel, by the card": 0.30 * air + 0.16 * cooler,
        "front, by the switch": 0.22 * air,
    }
    surfaces = tuple(
        Reading(kind="surface", value=round(room + rise + float(rng.normal(0, 0.4)), 1), place=place, at=at)
        for place, rise in rises.items()
    )
    wall = (steady["watts"] + OTHER_WATTS) / SUPPLY_EFFICIENCY + float(rng.normal(0, 1.5))
    return (
        Reading(kind="sound", value=round(sound, 1), background=background, place="1 m in front", at=at),
        *surfaces,
        Reading(kind="wall-power", value=round(wall, 1), at=at),
    )
