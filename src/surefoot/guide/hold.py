"""One run, from the journal's first line to its last: apply, read back, hold the load, judge, close."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from surefoot.errors import MachineError
from surefoot.guide.machine import Machine
from surefoot.guide.voice import LiveView, Voice
from surefoot.journal import Journal
from surefoot.rig.hands.guard import disagreements, guard
from surefoot.rig.protocols import Hands, LoadState
from surefoot.rig.sampler import over_ceiling
from surefoot.runs import Closing, Outcome, Run, RunPlan, Trace
from surefoot.units import Setting, Unit

OVER_SAMPLES: Final = 2
"""Samples in a row over the ceiling that stop a run. Two, because one reading may be a glitch of the sensor."""

SLEPT_SECONDS: Final = 30.0
"""A gap between two samples that means the machine slept (or the tool was stopped): a setting may vanish in it."""

CLOCK_GRAIN_SECONDS: Final = 0.001
"""A rest so short that sleeping for it may not move the clock: the run is over."""


@dataclass(frozen=True, slots=True)
class Holding:
    """How a run is watched.

    ``stop_early(trace)``: asked at each heartbeat, a reason to end the run as held, or None. ``lost_score(rates)``:
    asked of a run that completed, with its rates of verified work per second, one a heartbeat; words when it was slow.
    """

    sample_seconds: float = 1.0
    heartbeat_seconds: float = 10.0
    stop_early: Callable[[Trace], str | None] | None = None
    lost_score: Callable[[list[float]], str | None] | None = None
    start: dict[str, float] = field(default_factory=dict)
    start_words: str = ""


@dataclass(slots=True)
class _Watch:
    """What has been seen so far of the run under way."""

    began_at: datetime
    began: float
    minutes: float = 0.0
    pending: list[tuple[float, dict[str, float]]] = field(default_factory=list)
    seen: list[tuple[float, dict[str, float]]] = field(default_factory=list)
    peaks: dict[str, float] = field(default_factory=dict)
    rates: list[float] = field(default_factory=list)
    last_progress: float = 0.0
    last_beat: float = 0.0
    exercises: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _End:
    outcome: Outcome
    judged_by: str
    detail: dict[str, Any] = field(default_factory=dict)


def hold(
    journal: Journal, unit: Unit, machine: Machine, hands: Hands, voice: Voice, plan: RunPlan, holding: Holding
) -> Run:
    """Make one run and return it closed.

    The run is in the journal before its setting is applied, each heartbeat before the next, and it is closed once.
    The unit is returned to stock when anything goes wrong, and after each run when hands are a command. Ctrl-C closes
    the run as `void`, returns the unit to stock, and is raised again. Raises BadInput, before anything is written, for
    a setting that must never be applied.
    """
    guard(unit, plan.setting)
    load = machine.load(plan.load, unit)
    if load.by_hand and not voice.attended:
        raise MachineError(
            f"the load {plan.load!r} is done by hand and nobody is here.", remedy="Choose a load that runs by itself."
        )
    run_id = journal.open_run(plan, at=machine.now())
    watch = _Watch(began_at=machine.now(), began=machine.seconds())
    try:
        end = _run(journal, unit, machine, hands, voice, plan, holding, run_id, watch)
    except KeyboardInterrupt:
        with no_interrupts():
            voice.live(None)
            _close(journal, machine, run_id, plan, watch, _End(Outcome.VOID, "stopped by the user"), holding)
            _back(unit, hands, voice, plan)
        raise
    except MachineError as error:
        end = _End(Outcome.VOID, f"could not be run: {error.message()}")
        voice.live(None)
        _close(journal, machine, run_id, plan, watch, end, holding)
        to_stock(unit, hands, voice)
        raise
    except Exception:
        # A fault of ours must not leave the setting applied; the open run is judged on the next start.
        to_stock(unit, hands, voice)
        raise
    voice.live(None)
    with no_interrupts():
        _close(journal, machine, run_id, plan, watch, end, holding)
        if hands.kind == "command" or end.outcome is not Outcome.HELD:
            _back(unit, hands, voice, plan)
    return journal.run(run_id)


def _back(unit: Unit, hands: Hands, voice: Voice, plan: RunPlan) -> None:
    """Back to stock after a run; a user who has just confirmed stock is not asked again."""
    if hands.kind != "ask" or not plan.setting.is_stock:
        to_stock(unit, hands, voice)


def to_stock(unit: Unit, hands: Hands, voice: Voice) -> bool:
    """Put every knob back to stock. Returns whether that is known to have worked; says so when it is not."""
    try:
        read = hands.apply(unit, Setting())
    except MachineError as error:
        voice.say(f"The unit may not be at stock: {error.message()} Put it back by hand or restart it.", "bad")
        return False
    wrong = disagreements(unit, Setting(), read) if read is not None else []
    if wrong:
        voice.say(f"The unit is not at stock: {'; '.join(wrong)}. Put it back by hand or restart it.", "bad")
    return not wrong


@contextlib.contextmanager
def no_interrupts() -> Iterator[None]:
    """Hold Ctrl-C back while the journal is closed and the unit goes to stock; a second one must not tear that."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _run(
    journal: Journal,
    unit: Unit,
    machine: Machine,
    hands: Hands,
    voice: Voice,
    plan: RunPlan,
    holding: Holding,
    run_id: int,
    watch: _Watch,
) -> _End:
    read = hands.apply(unit, plan.setting)
    if read is not None:
        # A value that must never be set is refused even when the hardware claims to have it.
        guard(unit, read)
        journal.applied(run_id, read)
        if wrong := disagreements(unit, plan.setting, read):
            return _End(Outcome.VOID, f"the setting was not there before the run: {'; '.join(wrong)}")
    load = machine.load(plan.load, unit)
    watch.exercises = load.exercises()
    watch.began_at, watch.began = machine.now(), machine.seconds()
    session = load.start(plan.planned_minutes)
    try:
        end = _watch(journal, unit, machine, voice, plan, holding, run_id, watch, session.poll)
    finally:
        last = session.stop()
    if end.outcome is Outcome.HELD:
        end = _last_word(plan, end, last)
    if load.by_hand and end.outcome is Outcome.HELD:
        end = _ask_how_it_went(voice, plan)
    if end.outcome is Outcome.HELD and holding.lost_score and (words := holding.lost_score(watch.rates)):
        end = _End(Outcome.SLOW, words)
    if faults := machine.faults_since(watch.began_at):
        outcome, words = faults[0]
        if end.outcome is Outcome.HELD:
            end = _End(outcome, f"the system's log: {words}", {**end.detail, "logged": [text for _, text in faults]})
    return _still_there(unit, hands, plan.setting if read is None else read, end)


def _watch(
    journal: Journal,
    unit: Unit,
    machine: Machine,
    voice: Voice,
    plan: RunPlan,
    holding: Holding,
    run_id: int,
    watch: _Watch,
    poll: Callable[[], LoadState],
) -> _End:
    over = 0
    wall, clock = machine.now(), machine.seconds()
    while True:
        state = poll()
        sample = machine.sample()
        moment = machine.seconds() - watch.began
        watch.minutes = moment / 60
        watch.pending.append((moment, sample))
        for name, value in sample.items():
            if name.endswith("temperature") or ".temperature." in name:
                watch.peaks[name] = max(value, watch.peaks.get(name, value))
        hot = over_ceiling(sample, unit.ceilings_celsius)
        over = over + 1 if hot else 0
        if hot and over >= OVER_SAMPLES:
            domain, value, ceiling = hot
            return _End(Outcome.OVERHEAT, f"{domain} at {value:.0f} °C, ceiling {ceiling:.0f} °C")
        if state.state == "failed":
            return _failed(state)
        gap = max((machine.now() - wall).total_seconds(), machine.seconds() - clock)
        wall, clock = machine.now(), machine.seconds()
        if gap > SLEPT_SECONDS + holding.sample_seconds:
            return _End(Outcome.VOID, f"no sample for {gap:.0f} s: the machine slept, or the tool was stopped")
        voice.live(LiveView(_title(plan), watch.minutes, plan.planned_minutes, sample, state.phase, state.progress))
        if moment - watch.last_beat >= holding.heartbeat_seconds:
            _beat(journal, run_id, watch, moment, state.progress)
            if holding.stop_early and (reason := holding.stop_early(Trace.from_samples(watch.seen, watch.began_at))):
                return _End(Outcome.HELD, f"ended early: {reason}")
        left = plan.planned_minutes * 60 - moment
        if left <= CLOCK_GRAIN_SECONDS:
            return _End(Outcome.HELD, "held for the planned time")
        if state.state in ("done", "stopped"):
            if watch.minutes < plan.planned_minutes / 2:
                words = f"the load ended by itself after {watch.minutes:.1f} min {state.message}"
                return _End(Outcome.VOID, words.strip())
            return _End(Outcome.HELD, "the load came to its own end")
        machine.sleep(min(holding.sample_seconds, left))


def _beat(journal: Journal, run_id: int, watch: _Watch, moment: float, progress: float) -> None:
    span = moment - watch.last_beat
    watch.rates.append((progress - watch.last_progress) / span)
    watch.last_progress, watch.last_beat = progress, moment
    journal.heartbeat(run_id, watch.minutes, Trace.from_samples(watch.pending, watch.began_at))
    watch.seen += watch.pending
    watch.pending = []


def _last_word(plan: RunPlan, end: _End, last: LoadState) -> _End:
    """What the load says when it is stopped: a late failure, what it verified, and its scores."""
    if last.state == "failed":
        # A worker can find its wrong result in the moment it is told to stop; that is a failure all the same.
        return _failed(last)
    verified = last.detail.get("verified_units")
    if verified is not None and not sum(verified.values()):
        return _End(Outcome.VOID, f"load {plan.load!r} did no verified work, so nothing was proved")
    words = f"{end.judged_by}; {last.message}".rstrip(". ") if last.message else end.judged_by
    return _End(end.outcome, words, {**last.detail, **end.detail})


def _failed(state: LoadState) -> _End:
    outcome = state.outcome or Outcome.MISCOMPUTE
    return _End(outcome, state.message or outcome.says, dict(state.detail))


HOW_IT_WENT: Final = {
    "held": Outcome.HELD,
    "wrong": Outcome.MISCOMPUTE,
    "driver": Outcome.DRIVER_RESET,
    "froze": Outcome.HANG,
    "void": Outcome.VOID,
}


def _ask_how_it_went(voice: Voice, plan: RunPlan) -> _End:
    answer = voice.choose(
        f"{_title(plan)}: how did it go?", {key: outcome.says for key, outcome in HOW_IT_WENT.items()}, "held"
    )
    return _End(HOW_IT_WENT[answer], "the user, by hand")


def _still_there(unit: Unit, hands: Hands, there_before: Setting, end: _End) -> _End:
    """Read back once more: a run in which the setting vanished proves nothing."""
    if not hands.can_read_back or end.outcome in (Outcome.VOID, Outcome.OVERHEAT):
        return end
    if hands.kind == "ask" and there_before.is_stock:
        return end
    try:
        after = hands.read_back(unit)
    except MachineError as error:
        if end.outcome.is_crash:
            return end
        return _End(Outcome.VOID, f"the setting could not be read back after the run: {error.message()}", end.detail)
    wrong = disagreements(unit, there_before, after) if after is not None else []
    if not wrong or end.outcome.is_crash:
        # A driver that was reset drops its offsets; that does not make the failure unseen.
        return end
    return _End(Outcome.VOID, f"the setting was no longer there after the run: {'; '.join(wrong)}", end.detail)


def _close(
    journal: Journal, machine: Machine, run_id: int, plan: RunPlan, watch: _Watch, end: _End, holding: Holding
) -> None:
    if watch.pending:
        journal.heartbeat(run_id, watch.minutes, Trace.from_samples(watch.pending, watch.began_at))
    start = {"start": holding.start, "start_words": holding.start_words}
    detail: dict[str, Any] = {**end.detail, "peaks": watch.peaks, **start}
    if any(watch.rates):
        detail["rates"] = watch.rates
    if watch.exercises:
        # The search counts a run for the knobs that its load bears on, and recall tells whether transitions were held.
        detail["exercises"] = list(watch.exercises)
    journal.close_run(
        run_id,
        Closing(outcome=end.outcome, minutes=watch.minutes, judged_by=end.judged_by, detail=detail),
        at=machine.now(),
    )


def _title(plan: RunPlan) -> str:
    return f"{plan.setting.describe()} under {plan.load}"
