"""The run in hand: what has been seen of it so far, and its records in the journal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from surefoot.errors import JournalError
from surefoot.guide.bench import Bench
from surefoot.guide.ends import End
from surefoot.runs import Closing, Run, RunPlan, Trace
from surefoot.units import Setting

Samples = list[tuple[float, dict[str, float]]]
"""Seconds since the load began, and the sensors then."""


@dataclass(frozen=True, slots=True)
class Holding:
    """How a run is watched.

    ``stop_early(trace)``: asked at each heartbeat, a reason to end the run as held, or None. ``lost_score(rates,
    detail)``: asked of a run that completed, with its rates of verified work per second, one a heartbeat, and what the
    load said at its end; words when it was slow.
    ``chance``, ``edge``: what the search said before the run, in words, for the live view.
    """

    sample_seconds: float = 1.0
    heartbeat_seconds: float = 10.0
    stop_early: Callable[[Trace], str | None] | None = None
    lost_score: Callable[[list[float], Mapping[str, Any]], str | None] | None = None
    start: dict[str, float] = field(default_factory=dict)
    start_words: str = ""
    chance: str = ""
    edge: str = ""


@dataclass(slots=True)
class RunInHand:
    """A run from its first line in the journal to its last. Made by `open`; ended once, by `close`."""

    bench: Bench
    plan: RunPlan
    holding: Holding
    run_id: int
    began_at: datetime
    began: float
    minutes: float = 0.0
    pending: Samples = field(default_factory=list)
    seen: Samples = field(default_factory=list)
    peaks: dict[str, float] = field(default_factory=dict)
    rates: list[float] = field(default_factory=list)
    exercises: tuple[str, ...] = ()
    _progress: float = 0.0
    _beat_at: float = 0.0

    @classmethod
    def open(cls, bench: Bench, plan: RunPlan, holding: Holding) -> RunInHand:
        """Write the run down, before anything is touched."""
        run_id = bench.journal.open_run(plan, at=bench.machine.now())
        return cls(bench, plan, holding, run_id, bench.machine.now(), bench.machine.seconds())

    @property
    def title(self) -> str:
        """The setting and the load, for people."""
        return f"{self.plan.setting.describe(self.bench.unit)} under {self.plan.load}"

    @property
    def trace(self) -> Trace:
        """The samples up to the last heartbeat."""
        return Trace.from_samples(self.seen, self.began_at)

    def applied(self, read: Setting) -> None:
        """Write down what was read back before the load."""
        self.bench.journal.applied(self.run_id, read)

    def begin(self, exercises: tuple[str, ...]) -> None:
        """The load is started now: time counts from here."""
        self.exercises = exercises
        self.began_at, self.began = self.bench.machine.now(), self.bench.machine.seconds()

    def note(self, values: dict[str, float]) -> float:
        """Keep what the sensors said now; seconds since the load began."""
        moment = self.bench.machine.seconds() - self.began
        self.minutes = moment / 60
        self.pending.append((moment, values))
        for name, value in values.items():
            if name.split(".")[1:2] == ["temperature"]:
                self.peaks[name] = max(value, self.peaks.get(name, value))
        return moment

    def beat_is_due(self, moment: float) -> bool:
        """Whether the time of a heartbeat has come."""
        return moment - self._beat_at >= self.holding.heartbeat_seconds

    def beat(self, moment: float, progress: float) -> None:
        """Write a heartbeat down, with the samples since the last."""
        self.rates.append((progress - self._progress) / (moment - self._beat_at))
        self._progress, self._beat_at = progress, moment
        self._write_samples()

    def keep(self) -> None:
        """Write down what was seen up to now and is not on disk yet."""
        if self.pending:
            self._write_samples()

    def close(self, end: End) -> None:
        """Write down how it ended; samples that there is no room for do not stand in the way of that."""
        facts = self._facts()
        try:
            self.keep()
        except JournalError as error:
            facts["samples_not_written"] = {"count": len(self.pending), "why": error.what}
        closing = Closing(
            outcome=end.outcome, minutes=self.minutes, judged_by=end.judged_by, detail={**end.detail, **facts}
        )
        self.bench.journal.close_run(self.run_id, closing, at=self.bench.machine.now())

    def record(self) -> Run:
        """The run as the journal has it."""
        return self.bench.journal.run(self.run_id)

    def _write_samples(self) -> None:
        self.bench.journal.heartbeat(self.run_id, self.minutes, Trace.from_samples(self.pending, self.began_at))
        self.seen += self.pending
        self.pending = []

    def _facts(self) -> dict[str, Any]:
        holding = self.holding
        facts: dict[str, Any] = {"peaks": self.peaks, "start": holding.start, "start_words": holding.start_words}
        if any(self.rates):
            facts["rates"] = self.rates
        if self.exercises:
            # The search counts a run for the knobs that its load bears on; recall tells whether transitions were held.
            facts["exercises"] = list(self.exercises)
        return facts
