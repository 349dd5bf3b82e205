"""Watching a load: the ceilings, the heartbeats, the gaps in which a machine slept, and the time that was planned."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from surefoot.guide.ends import End, failed
from surefoot.guide.machine import Machine
from surefoot.guide.run_in_hand import RunInHand
from surefoot.guide.voice import LiveView
from surefoot.rig.protocols import LoadState
from surefoot.rig.sampler import over_ceiling
from surefoot.runs import Outcome

OVER_SAMPLES: Final = 2
"""Samples in a row over the ceiling that stop a run. Two, because one reading may be a glitch of the sensor."""

SLEPT_SECONDS: Final = 30.0
"""A gap between two samples that means the machine slept (or the tool was stopped): a setting may vanish in it."""

CLOCK_GRAIN_SECONDS: Final = 0.001
"""A rest so short that sleeping for it may not move the clock: the run is over."""


def watch(run: RunInHand, poll: Callable[[], LoadState]) -> End:
    """Watch the load of a run until it ends, fails, or has to be stopped; every heartbeat is on disk before the next.

    ``poll``: what the load says now; returns at once.
    """
    bench, plan, holding = run.bench, run.plan, run.holding
    heat = Heat(bench.unit.ceilings_celsius)
    gaps = Gaps(bench.machine)
    while True:
        state = poll()
        moment, sample = run.sample()
        if hot := heat.over(sample):
            return End(Outcome.OVERHEAT, hot)
        if state.state == "failed":
            return failed(state)
        if (gap := gaps.next()) > SLEPT_SECONDS + holding.sample_seconds:
            return End(Outcome.VOID, f"no sample for {gap:.0f} s: the machine slept, or the tool was stopped")
        bench.voice.live(LiveView(run.title, run.minutes, plan.planned_minutes, sample, state.phase, state.progress))
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


def _by_itself(run: RunInHand, state: LoadState) -> End:
    if run.minutes < run.plan.planned_minutes / 2:
        return End(Outcome.VOID, f"the load ended by itself after {run.minutes:.1f} min {state.message}".strip())
    return End(Outcome.HELD, "the load came to its own end")


@dataclass(slots=True)
class Heat:
    """Counts the samples in a row that are over a ceiling."""

    ceilings_celsius: dict[str, float]
    in_a_row: int = 0

    def over(self, sample: dict[str, float]) -> str | None:
        """In words, what is too hot, once it has been for `OVER_SAMPLES` in a row."""
        hot = over_ceiling(sample, self.ceilings_celsius)
        self.in_a_row = self.in_a_row + 1 if hot else 0
        if hot is None or self.in_a_row < OVER_SAMPLES:
            return None
        part, value, ceiling = hot
        return f"{part} at {value:.0f} °C, ceiling {ceiling:.0f} °C"


class Gaps:
    """The time between one look and the next, by whichever clock saw more of it: one of them stops in sleep."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine
        self._wall, self._clock = machine.now(), machine.seconds()

    def next(self) -> float:
        """Seconds since the last time this was asked."""
        wall, clock = self._machine.now(), self._machine.seconds()
        gap = max((wall - self._wall).total_seconds(), clock - self._clock)
        self._wall, self._clock = wall, clock
        return gap
