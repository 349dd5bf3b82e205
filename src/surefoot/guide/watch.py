"""Watching a load: the ceilings, the heartbeats, the gaps in which a machine slept, and the time that was planned."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from surefoot.guide.blind import Blind, read_in
from surefoot.guide.ends import End, failed
from surefoot.guide.machine import Machine
from surefoot.guide.run_in_hand import RunInHand
from surefoot.guide.voice import LiveView
from surefoot.rig.protocols import LoadState
from surefoot.rig.sampler import over_ceiling
from surefoot.runs import Outcome

HOVER_SECONDS: Final = 60.0
"""Two readings over a ceiling within this time are heat, also when each is alone."""

SLEPT_SECONDS: Final = 30.0
"""A gap between two samples that means the machine slept (or the tool was stopped): a setting may vanish in it."""

CLOCK_GRAIN_SECONDS: Final = 0.001
"""A rest so short that sleeping for it may not move the clock: the run is over."""


def watch(run: RunInHand, poll: Callable[[], LoadState]) -> End:
    """Watch the load of a run until it ends, fails, or has to be stopped; every heartbeat is on disk before the next.

    ``poll``: what the load says now; returns at once.
    """
    bench, plan, holding = run.bench, run.plan, run.holding
    heat = Heat(bench.machine, bench.unit.ceilings_celsius)
    gaps = Gaps(bench.machine)
    blind = Blind(bench.machine, bench.unit.ceilings_celsius, bench.temperatures_seen)
    while True:
        state = poll()
        sample, hot = heat.read()
        bench.temperatures_seen.update(read_in(sample))
        moment = run.note(sample)
        if hot:
            return End(Outcome.OVERHEAT, hot)
        if state.state == "failed":
            return failed(state)
        if (gap := gaps.next()) > SLEPT_SECONDS + holding.sample_seconds:
            return End(Outcome.VOID, f"no sample for {gap:.0f} s: the machine slept, or the tool was stopped")
        if unseen := blind.next(sample):
            return End(Outcome.VOID, f"stopped, not judged: {unseen}")
        bench.voice.live(_view(run, sample, state))
        if run.beat_is_due(moment):
            run.beat(moment, state.progress)
            if holding.stop_early and (reason := holding.stop_early(run.trace)):
                return End(Outcome.HELD, f"ended early: {reason}")
        left = plan.planned_minutes * 60 - moment
        if left <= CLOCK_GRAIN_SECONDS:
            return End(Outcome.HELD, "held for the planned time")
        if state.state in ("done", "stopped"):
            return _by_itself(run, state)
        bench.machine.sleep(min(holding.sample_seconds, left))


def _view(run: RunInHand, sample: dict[str, float], state: LoadState) -> LiveView:
    return LiveView(
        title=run.title,
        minutes=run.minutes,
        planned_minutes=run.plan.planned_minutes,
        sample=sample,
        phase=state.phase,
        progress=state.progress,
        ceilings_celsius=run.bench.unit.ceilings_celsius,
        chance=run.holding.chance,
        edge=run.holding.edge,
    )


def _by_itself(run: RunInHand, state: LoadState) -> End:
    if run.minutes < run.plan.planned_minutes / 2:
        return End(Outcome.VOID, f"the load ended by itself after {run.minutes:.1f} min {state.message}".strip())
    return End(Outcome.HELD, "the load came to its own end")


class Heat:
    """Reads the sensors and holds them to the ceilings of the card.

    A reading over a ceiling is read again at once: a glitch is gone then, heat is not. Heat that hovers about a ceiling
    shows as one reading after another that is over it alone: the second within `HOVER_SECONDS` counts as well.
    """

    def __init__(self, machine: Machine, ceilings_celsius: Mapping[str, float]) -> None:
        self._machine = machine
        self._ceilings = ceilings_celsius
        self._alone_at: float | None = None

    def read(self) -> tuple[dict[str, float], str | None]:
        """What the sensors say now, and in words what is too hot, if anything is."""
        sample = self._machine.sample()
        hot = over_ceiling(sample, self._ceilings)
        if hot is None:
            return sample, None
        again = self._machine.sample()
        if still := over_ceiling(again, self._ceilings):
            return again, _too_hot(*still)
        now = self._machine.seconds()
        if self._alone_at is not None and now - self._alone_at <= HOVER_SECONDS:
            return sample, _too_hot(*hot)
        self._alone_at = now
        return again, None


def _too_hot(part: str, celsius: float, ceiling: float) -> str:
    return f"{part} at {celsius:.0f} °C, ceiling {ceiling:.0f} °C"


class Gaps:
    """The time between one look and the next, sleep included.

    Where the system tells how long it slept, by that: a wall clock that is set, by days or by an hour, is no gap. Else
    by whichever clock saw more, since one of them stops in sleep.
    """

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._wall, self._clock, self._asleep = machine.now(), machine.seconds(), machine.asleep_seconds()

    def next(self) -> float:
        """Seconds since the last time this was asked."""
        wall, clock, asleep = self._machine.now(), self._machine.seconds(), self._machine.asleep_seconds()
        gap = clock - self._clock
        if asleep is None or self._asleep is None:
            gap = max((wall - self._wall).total_seconds(), gap)
        else:
            gap += asleep - self._asleep
        self._wall, self._clock, self._asleep = wall, clock, asleep
        return gap
