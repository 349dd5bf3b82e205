"""A whole session played on a virtual unit, with the real journal, the real search and the real recall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from surefoot.guide.bench import Bench
from surefoot.guide.recall import Recall, recall
from surefoot.guide.session import Options, Session, SessionEnd
from surefoot.guide.settle import Settling
from surefoot.guide.trial_planning import begin_trial, plan_says, plan_trial
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rehearsal.demo_card import (
    BOTH_LOAD,
    CLEANED,
    ROOM_CELSIUS,
    WORKBENCH,
    Stage,
    demo_unit,
    stages_after,
    stages_before,
)
from surefoot.rehearsal.demo_measures import MINUTES, REPEATS, Happening, measured, measured_in_blocks
from surefoot.rehearsal.machine import MachineDown, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Run
from surefoot.scores.configurations import key_of, parts_of
from surefoot.scores.trial_plan import Arm
from surefoot.search import Goal
from surefoot.units import Unit

DEMO_NAME: Final = "demo"
BENCH_NIGHT_SECONDS: Final = 15 * 3600.0


@dataclass(frozen=True, slots=True)
class Demo:
    """What a demo came to. ``true_mttf_hours``: of the setting it recommends, which only a virtual unit can tell."""

    unit: Unit
    end: SessionEnd
    recall: Recall
    crashes: int
    bench_hours: float
    true_mttf_hours: float


def play(journal: Journal, seed: int, voice: Voice, *, name: str | None = None) -> Demo:
    """Play the workshop's story on a new virtual unit, crashes and recoveries included: measured as it came in and
    cleaned, tuned from stock to a certificate, measured again.

    Same seed, same runs. The unit is called ``demo``, or ``demo-2`` and so on when the journal has one already.
    """
    unit = demo_unit(name or _free_name(journal))
    journal.add_unit(unit)
    edges = draw_edges(seed)
    machine = VirtualMachine(unit, edges, seed, room_celsius=ROOM_CELSIUS, cooling=unit.cooling or CLEANED)
    options = Options(
        goal=Goal(mttf_hours=unit.goal.mttf_hours, confidence=unit.goal.confidence),
        ambient_celsius=machine.room_celsius,
        agreed=True,
        # Virtual time is cheap to sample and dear to write: every heartbeat is synced to the disk, as in a real run.
        sample_seconds=5.0,
        heartbeat_seconds=60.0,
        settling=Settling(at_most_minutes=3.0),
    )
    _say_measured(voice, stages_before())
    unit = write_happenings(journal, unit, list(measured(unit, machine, stages_before(), seed)))
    machine.put(power_mode=WORKBENCH, cooling=CLEANED)
    machine.sleep(BENCH_NIGHT_SECONDS)
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
    machine.sleep(BENCH_NIGHT_SECONDS)
    unit = _trial(journal, unit, machine, voice, stages_after(found), seed)
    # What was measured is evidence too: recall is asked once more, and says what it will say tomorrow.
    answer = recall(journal, unit, options.goal, machine.now())
    return Demo(unit, end, answer, crashes, hours, _true_mttf(unit, edges, answer))


def _trial(
    journal: Journal, unit: Unit, machine: VirtualMachine, voice: Voice, stages: Sequence[Stage], seed: int
) -> Unit:
    """Compare the stages as a trial: planned, written down, taken in its order."""
    arms = tuple(Arm(name=one.name, setting=one.setting, power_mode=one.mode, cooling=one.cooling) for one in stages)
    planned = plan_trial(
        journal, unit, arms, load=BOTH_LOAD, seed=seed, minutes=MINUTES, repeats=REPEATS, metric="gear sums"
    )
    number = begin_trial(journal, unit, planned.plan, at=machine.now())
    voice.say(f"Compared as a trial. {plan_says(planned)}", "quiet")
    design = planned.plan.design(number)
    names = journal.configuration_names(unit.name)
    for stage, key in zip(stages, design.configurations, strict=True):
        if key not in names:
            journal.name_configuration(unit.name, key, stage.name, len(journal.configuration_names(unit.name)) + 1)
    unit = write_happenings(journal, unit, list(measured_in_blocks(unit, machine, stages, design, seed + 1)))
    journal.end_trial(unit.name, number, "every block is in", at=machine.now())
    return unit


def _say_measured(voice: Voice, stages: Sequence[Stage]) -> None:
    voice.say(f"Measured, {REPEATS} runs each: {'; '.join(stage.name for stage in stages)}.", "quiet")


def draw_edges(seed: int) -> dict[str, VirtualUnit]:
    """The truth of the demo's unit: drawn, so that each seed is another chip."""
    rng = np.random.default_rng([seed, 3])
    core = float(np.clip(rng.normal(78, 13), 48, 110)), float(rng.lognormal(np.log(5), 0.25))
    clock = float(np.clip(rng.normal(168, 22), 110, 220)), float(rng.lognormal(np.log(12), 0.25))
    return {"cpu-core": VirtualUnit(*core, soft_share=0.0), "gpu-core": VirtualUnit(*clock, soft_share=0.5)}


def _true_mttf(unit: Unit, edges: dict[str, VirtualUnit], answer: Recall) -> float:
    hazard = sum(
        edge.hazard(unit.knob(name).depth_of(answer.setting.get(name, 0.0)))
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
    """Log what happened to a unit of the journal with traces, scores and readings, name its configurations by the
    runs' notes, and note on the card the cooling it ended with. Returns the card."""
    cooling = unit.cooling
    names = {key: name for key, (name, _) in journal.configuration_names(unit.name).items()}
    for one in happenings:
        cooling = one.plan.conditions.cooling or cooling
        run_id = journal.log_run(one.plan, one.closing, at=one.at)
        if one.trace is not None:
            journal.add_trace(run_id, one.trace)
        journal.add_scores(unit.name, one.scores, run_id=run_id)
        for reading in one.readings:
            journal.add_reading(unit.name, reading, run_id=run_id)
        run = Run(id=0, opened_at=one.at, plan=one.plan, closed_at=one.at, closing=one.closing)
        key = key_of(parts_of(run))
        if one.plan.note and key not in names:
            names[key] = one.plan.note
            journal.name_configuration(unit.name, key, one.plan.note, len(names))
    unit = unit.model_copy(update={"cooling": cooling})
    journal.revise_unit(unit)
    return unit
