"""A trial on the bench: each configuration once a block, in an order drawn from a seed, resumed from the journal."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final

from surefoot.errors import AnswerIsNo, BadInput, MachineError
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.exception import ask_exception
from surefoot.guide.hold import hold
from surefoot.guide.machine import Machine, RealMachine
from surefoot.guide.measure import keep_score, present_conditions
from surefoot.guide.remote.again import wait_for
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.settle import Settling, settle
from surefoot.guide.trial_state import Look, TrialState, deciding_score, look, states
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rig.hands.guard import guard
from surefoot.runs import Outcome, Place, Reading, Run, RunPlan, Score, Trace
from surefoot.scores.design import Turn
from surefoot.scores.trial_plan import Instrument, TrialPlan
from surefoot.units import Conditions, Unit

MOST_VOID: Final = 3
"""Void runs of one turn before the trial is left for the user to look into."""


@dataclass(frozen=True, slots=True)
class Trialling:
    """How a trial is run: as `Measuring`. ``at_most_runs``: stop for now after so many, None: go on to the end."""

    conditions: Conditions = field(default_factory=Conditions)
    agreed: bool = False
    this_machine: bool = False
    at_most_runs: int | None = None
    sample_seconds: float = 1.0
    heartbeat_seconds: float = 10.0
    settling: Settling = field(default_factory=Settling)


def last_trial(journal: Journal, unit_name: str) -> TrialState:
    """The latest trial. Raises AnswerIsNo where there is none."""
    found = states(journal, unit_name)
    if not found:
        raise AnswerIsNo(
            f"there is no trial of {unit_name!r} yet.",
            remedy=f"Begin one: `surefoot trial {unit_name} --of stock --of known-stable --to-see 2%`.",
        )
    return found[-1]


def going(journal: Journal, unit_name: str) -> TrialState:
    """The trial that goes on. Raises AnswerIsNo where none does."""
    state = last_trial(journal, unit_name)
    if state.next is None:
        raise AnswerIsNo(
            state.next_says(), remedy=f"Begin another: `surefoot trial {unit_name} --of CONFIG --of CONFIG`."
        )
    return state


def end_by_user(journal: Journal, unit_name: str) -> TrialState:
    """End the trial that goes on, since the user says so; where it stands then."""
    state = going(journal, unit_name)
    blocks = state.blocks_done
    journal.end_trial(unit_name, state.number, f"ended by the user after {blocks} complete blocks")
    return last_trial(journal, unit_name)


def machine_for(unit: Unit) -> Machine:
    """The machine that a unit is measured on: the one in hand."""
    return RealMachine()


def go_on(bench: Bench, number: int, trialling: Trialling) -> TrialState:
    """Run a trial on from where the journal says it stands; where it stands then.

    A void run is made again. Raises AnswerIsNo when a configuration fails, since it cannot be measured then;
    MachineError where hands are needed and nobody is there.
    """
    first, voice = _state(bench, number), bench.voice
    off_stock = any(not arm.setting.is_stock for arm in first.plan.arms)
    refuse_without_hands(voice, first.plan)
    made: list[int] = []
    while True:
        try:
            with at_work(bench, off_stock=off_stock, agreed=trialling.agreed, this_machine=trialling.this_machine):
                # A run that was lost with the line is judged by now; from here on somebody may be asked again.
                bench = replace(bench, voice=voice)
                for arm in first.plan.arms:
                    if not arm.setting.is_stock:
                        ask_exception(bench, arm.setting)
                _turns(bench, number, trialling, made)
            return _state(bench, number)
        except LineLost as lost:
            bench = wait_for(bench, lost)


def _turns(bench: Bench, number: int, trialling: Trialling, made: list[int]) -> None:
    """Turn after turn, until the trial ends or enough were made; ``made``: numbers of the runs, added to."""
    while True:
        state = _state(bench, number)
        _refuse_failed(state)
        turn = state.next
        if (turn is None or turn.position == 1) and state.blocks_done and _stops(bench, state):
            return
        if turn is None:
            return _end(bench, state, "every block is in")
        if trialling.at_most_runs is not None and len(made) >= trialling.at_most_runs:
            return None
        bench.voice.say(state.next_says(), "heading")
        run = _one(bench, state, turn, trialling)
        made.append(run.id)
        if run.outcome is Outcome.VOID and _voids(bench, number, turn) >= MOST_VOID:
            raise AnswerIsNo(
                f"this run was void {MOST_VOID} times: {run.closing.judged_by if run.closing else ''}.",
                remedy="See what disturbs it, then give the same command again: the trial goes on there.",
            )


def _state(bench: Bench, number: int) -> TrialState:
    for one in states(bench.journal, bench.unit.name):
        if one.number == number:
            return one
    raise BadInput(f"there is no trial {number} of {bench.unit.name!r}.")


def _end(bench: Bench, state: TrialState, why: str) -> None:
    if state.ended is None:
        bench.journal.end_trial(bench.unit.name, state.number, why, at=bench.machine.now())


def refuse_without_hands(voice: Voice, plan: TrialPlan) -> None:
    """Raises MachineError for a plan that needs hands where nobody is there."""
    arms = plan.arms
    if voice.attended:
        return
    if len({arm.power_mode for arm in arms}) > 1 or len({arm.cooling for arm in arms}) > 1:
        raise MachineError(
            "this trial changes the power mode or the cooling, which is done by hand, and nobody is here.",
            remedy="Run it without --unattended.",
        )
    if plan.readings:
        raise MachineError(
            "this trial takes readings from instruments, and nobody is here.", remedy="Run it without --unattended."
        )


def refuse_what_cannot_be(bench: Bench, plan: TrialPlan) -> None:
    """Refuse a plan before it is written down, so that no trial is begun that cannot have its first run.

    Raises BadInput for a load that is not there, a setting past the card, or one past the rules where nobody is there
    to make an exception; MachineError for a load that cannot be had here, and for hands that are needed and not there.
    """
    refuse_without_hands(bench.voice, plan)
    bench.machine.load(plan.load, bench.unit)
    for arm in plan.arms:
        guard(bench.unit, arm.setting)
        if not bench.voice.attended:
            bench.permit(arm.setting)


def _refuse_failed(state: TrialState) -> None:
    if state.failed and state.ended is None:
        run = state.failed[-1]
        place = run.plan.place
        name = next(
            (
                state.plan.arms[turn.configuration].name
                for turn in state.turns
                if place is not None and (turn.block, turn.position) == (place.block, place.position)
            ),
            "a configuration",
        )
        raise AnswerIsNo(
            f"{name} did not hold: run {run.id} ended as {run.outcome}. A configuration that fails cannot be measured.",
            remedy="End the trial with --end, find what holds with `surefoot tune`, and plan another.",
        )


def _voids(bench: Bench, number: int, turn: Turn) -> int:
    place = Place(trial=number, block=turn.block, position=turn.position)
    return sum(run.plan.place == place and run.outcome is Outcome.VOID for run in bench.journal.runs(bench.unit.name))


def _one(bench: Bench, state: TrialState, turn: Turn, trialling: Trialling) -> Run:
    """Make one run of the trial: what hands must do, a comparable start, the load, scores and readings."""
    plan, arm = state.plan, state.plan.arms[turn.configuration]
    _by_hand(bench, state, turn)
    start, words = settle(bench, trialling.settling, _first_start(state))
    bench.voice.say(words, "quiet")
    now = trialling.conditions.model_copy(
        update={name: value for name, value in (("power_mode", arm.power_mode), ("cooling", arm.cooling)) if value}
    )
    run_plan = RunPlan(
        unit_name=bench.unit.name,
        setting=arm.setting,
        load=plan.load,
        planned_minutes=plan.minutes,
        purpose="measure",
        conditions=present_conditions(bench, now),
        boot_id=bench.machine.boot_id(),
        source=bench.machine.source,
        place=Place(trial=state.number, block=turn.block, position=turn.position),
    )
    holding = Holding(
        sample_seconds=trialling.sample_seconds,
        heartbeat_seconds=trialling.heartbeat_seconds,
        stop_early=_reminder(bench.voice, plan) if plan.readings else None,
        start=start,
        start_words=words,
    )
    run = hold(bench, run_plan, holding)
    keep_score(bench, run)
    if run.outcome in (Outcome.HELD, Outcome.SLOW):
        _ask_score(bench, plan, run)
        for instrument in plan.readings:
            _ask_reading(bench, instrument, run)
        bench.voice.say(f"Run {run.id}: {run.outcome}, {run.minutes:.1f} min.", "good")
    else:
        bench.voice.say(f"Run {run.id}: {run.outcome}; {run.closing.judged_by if run.closing else ''}.", "bad")
    return run


def _by_hand(bench: Bench, state: TrialState, turn: Turn) -> None:
    """Have the power mode and the cooling changed where they differ from the run before."""
    arm = state.plan.arms[turn.configuration]
    place = state.turns.index(turn)
    before = state.plan.arms[state.turns[place - 1].configuration] if place else None
    for what, wanted, was in (
        ("cooling", arm.cooling, before.cooling if before else None),
        ("power mode", arm.power_mode, before.power_mode if before else None),
    ):
        if not wanted or wanted == was or not bench.voice.attended:
            continue
        choices = {"done": "it is so", "pause": "later"}
        if bench.voice.choose(f"Now the {what}: {wanted}.", choices, "done") == "pause":
            raise AnswerIsNo("paused.", remedy="The same command goes on here.")


def _first_start(state: TrialState) -> dict[str, float] | None:
    """The start temperatures of the trial's own first run: what its other starts are compared with."""
    for turn in state.turns:
        run = state.done.get((turn.block, turn.position))
        if run is not None and run.closing and (start := run.closing.detail.get("start")):
            return {name: float(value) for name, value in start.items()}
    return None


def _reminder(voice: Voice, plan: TrialPlan) -> Callable[[Trace], str | None]:
    """Says once, at the right minute, what to read; the numbers are asked for after the run, which is not held up."""
    said = False

    def remind(trace: Trace) -> str | None:
        nonlocal said
        if not said and trace.duration_minutes >= plan.reading_minute:
            said = True
            voice.live(None)
            what = ", ".join(f"{one.kind}{' ' + one.place if one.place else ''}" for one in plan.readings)
            voice.say(f"Read now, and keep the numbers for the end of the run: {what}.", "warn")
        return None

    return remind


def _ask_score(bench: Bench, plan: TrialPlan, run: Run) -> None:
    """A deciding score that the load does not give is asked for."""
    scores = bench.journal.scores(bench.unit.name)
    decides = deciding_score(plan, scores, [run.id])
    if not bench.voice.attended or any(entry.run_id == run.id and entry.score.name == decides for entry in scores):
        return
    value = _number(bench.voice, f"{plan.metric} of this run")
    if value is not None:
        bench.journal.add_score(bench.unit.name, Score(name=plan.metric, value=value), run_id=run.id)


def _ask_reading(bench: Bench, instrument: Instrument, run: Run) -> None:
    where = f", {instrument.place}" if instrument.place else ""
    value = _number(bench.voice, f"{instrument.kind}{where}, as read in the run")
    if value is None:
        return
    background = None
    if instrument.kind == "sound":
        background = _number(bench.voice, "background with the unit silent, dB(A)")
    reading = Reading(
        kind=instrument.kind, value=value, place=instrument.place, background=background, at=bench.machine.now()
    )
    bench.journal.add_reading(bench.unit.name, reading, run_id=run.id)


def _number(voice: Voice, question: str) -> float | None:
    """A number from the user; None for nothing. What is no number is asked again."""
    while True:
        text = voice.ask(f"{question} (Enter: none)", "").strip().replace(",", ".")
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if math.isfinite(value) and abs(value) < 1e9:
            return value
        voice.say(f"{text!r} is no number.", "warn")


def _stops(bench: Bench, state: TrialState) -> bool:
    """Say what the blocks so far show, and end the trial where its rule says so."""
    found = look(state, bench.journal.scores(bench.unit.name))
    if found is None:
        return False
    bench.voice.say(look_says(state, found), "quiet")
    if state.plan.early and found.all_shown and state.next is not None:
        _end(bench, state, f"stopped early: every difference was shown after {found.blocks} blocks")
        bench.voice.say(f"Every difference is shown after {found.blocks} of {state.plan.blocks} blocks: done.", "good")
        return True
    return False


def look_says(state: TrialState, found: Look) -> str:
    """What the blocks so far say of the spread, and whether the plan still answers the question."""
    text = f"{found.blocks} blocks are in; runs of a block spread by {found.spread_percent:.2g} % ({found.metric})."
    if found.power is not None and state.plan.to_see is not None:
        text += (
            f" At this spread the plan shows {state.plan.to_see:g} % with a chance of {100 * found.power.chance:.0f} %."
        )
    return text
