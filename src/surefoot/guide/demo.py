"""A whole session played on a virtual unit, with the real journal, the real search and the real recall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import numpy as np

from surefoot.guide.bench import Bench
from surefoot.guide.recall import Recall, recall
from surefoot.guide.session import Options, Session, SessionEnd
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rehearsal.demo_data import Happening, configuration_names, demo_unit, measurements
from surefoot.rehearsal.machine import Edge, MachineDown, VirtualMachine
from surefoot.search import Goal
from surefoot.units import Unit

DEMO_NAME: Final = "demo"
BENCH_DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Demo:
    """What a demo came to. ``true_mttf_hours``: of the setting it recommends, which only a virtual unit can tell."""

    unit: Unit
    end: SessionEnd
    recall: Recall
    crashes: int
    bench_hours: float
    true_mttf_hours: float


def play(journal: Journal, seed: int, voice: Voice) -> Demo:
    """Play a session on a new virtual unit from stock to a certificate, crashes and recoveries included.

    Same seed, same runs. The unit is called ``demo``, or ``demo-2`` and so on when the journal has one already.
    """
    unit = demo_unit(_free_name(journal))
    journal.add_unit(unit)
    edges = draw_edges(seed)
    machine = VirtualMachine(unit, edges, seed)
    options = Options(
        goal=Goal(mttf_hours=unit.goal.mttf_hours, confidence=unit.goal.confidence),
        ambient_celsius=machine.room_celsius,
        agreed=True,
        # Virtual time is cheap to sample and dear to write: every heartbeat is synced to the disk, as in a real run.
        sample_seconds=5.0,
        heartbeat_seconds=60.0,
        settling=Settling(at_most_minutes=3.0),
    )
    began = machine.seconds()
    crashes = 0
    while True:
        try:
            end = Session(Bench(journal, unit, machine, voice), options).run()
            break
        except MachineDown:
            crashes += 1
            voice.live(None)
            voice.say("The virtual machine has just gone down, in the middle of the run. Starting again...", "bad")
            machine.restart()
    hours = (machine.seconds() - began) / 3600
    found = recall(journal, unit, options.goal, machine.now()).as_setting()
    unit = write_happenings(journal, unit, list(measurements(seed, unit, found, start=machine.now() + BENCH_DAY)))
    # What was measured is evidence too: recall is asked once more, and says what it will say tomorrow.
    answer = recall(journal, unit, options.goal, machine.now())
    return Demo(unit, end, answer, crashes, hours, _true_mttf(unit, edges, answer))


def draw_edges(seed: int) -> dict[str, Edge]:
    """The true edges of the demo's unit: drawn, so that each seed is another chip."""
    rng = np.random.default_rng([seed, 3])
    return {
        "cpu-core": Edge(float(np.clip(rng.normal(110, 20), 60, 160)), float(rng.lognormal(np.log(5), 0.25)), 0.0),
        "gpu-core": Edge(float(np.clip(rng.normal(140, 20), 90, 190)), float(rng.lognormal(np.log(9), 0.25)), 0.5),
    }


def _true_mttf(unit: Unit, edges: dict[str, Edge], answer: Recall) -> float:
    hazard = sum(
        edge.hazard_per_hour(unit.knob(name).depth_of(answer.setting.get(name, 0.0)))
        for name, edge in edges.items()
        if answer.setting.get(name)
    )
    return 1 / hazard if hazard else float("inf")


def _free_name(journal: Journal) -> str:
    taken = {unit.name for unit in journal.units(retired=True)}
    if DEMO_NAME not in taken:
        return DEMO_NAME
    number = 2
    while f"{DEMO_NAME}-{number}" in taken:
        number += 1
    return f"{DEMO_NAME}-{number}"


def write_happenings(journal: Journal, unit: Unit, happenings: Sequence[Happening]) -> Unit:
    """Log what happened to a unit of the journal with traces, scores and readings, name its configurations, and note
    on the card the cooling it ended with. Returns the card."""
    cooling = unit.cooling
    for one in happenings:
        cooling = one.plan.conditions.cooling or cooling
        run_id = journal.log_run(one.plan, one.closing, at=one.at)
        if one.trace is not None:
            journal.add_trace(run_id, one.trace)
        for score in one.scores:
            journal.add_score(unit.name, score, run_id=run_id)
        for reading in one.readings:
            journal.add_reading(unit.name, reading, run_id=run_id)
    for rank, (key, name) in enumerate(configuration_names(happenings).items(), 1):
        journal.name_configuration(unit.name, key, name, rank)
    unit = unit.model_copy(update={"cooling": cooling})
    journal.revise_unit(unit)
    return unit
