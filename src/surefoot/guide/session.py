"""The guided session: propose, apply, run, judge, record, until the search stops or the user does."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final

from surefoot.errors import BadInput
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.hold import hold
from surefoot.guide.remote.again import wait_for
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.run_in_hand import Holding
from surefoot.guide.settle import Settling, settle
from surefoot.guide.speed import lost_score
from surefoot.guide.stock import to_stock
from surefoot.guide.voice import Tone
from surefoot.guide.which_load import load_for
from surefoot.runs import Outcome, Run, RunPlan
from surefoot.search import Assessment, Goal, KnownStable, Step, assess
from surefoot.search.words import chance_words
from surefoot.units import Conditions, Unit, validated
from surefoot.wording import count

VOIDS_IN_A_ROW: Final = 3
"""After so many runs that prove nothing, going on unattended would only burn hours."""


@dataclass(frozen=True, slots=True)
class Options:
    """How a session goes. ``knobs``: only these (None: all); ``load``: this one for every run; ``max_runs``: then
    pause; ``agreed``: the cautions were agreed to on the command line."""

    goal: Goal = field(default_factory=Goal)
    knobs: tuple[str, ...] | None = None
    strategy: str = "posterior"
    load: str | None = None
    ambient_celsius: float | None = None
    power_mode: str | None = None
    max_runs: int | None = None
    max_minutes: float | None = None
    agreed: bool = False
    this_machine: bool = False
    sample_seconds: float = 1.0
    heartbeat_seconds: float = 10.0
    settling: Settling = field(default_factory=Settling)


@dataclass(frozen=True, slots=True)
class SessionEnd:
    """How a session ended. ``why``: the search's word (`certified`, `limit`, `failures`, `worth`, `faulty`) or
    ``paused``, ``stopped``, ``voids``; ``claim``: what may be claimed, in words."""

    why: str
    claim: str
    known: KnownStable | None
    run_ids: tuple[int, ...] = ()
    at_stock: bool = True
    strategy: str = "posterior"

    @property
    def found(self) -> bool:
        """Whether something is known-stable now."""
        return self.known is not None


@dataclass(slots=True)
class _Tally:
    """What a session has made so far."""

    made: list[int] = field(default_factory=list)
    minutes: float = 0.0
    voids_in_a_row: int = 0

    def add(self, run: Run) -> None:
        self.made.append(run.id)
        self.minutes += run.minutes
        proved_nothing = run.outcome in (Outcome.VOID, Outcome.OVERHEAT)
        self.voids_in_a_row = self.voids_in_a_row + 1 if proved_nothing else 0


@dataclass
class Session:
    """A session on a bench; `run` holds the unit's writer lock from its start to its end."""

    bench: Bench
    options: Options = field(default_factory=Options)

    def __post_init__(self) -> None:
        # The rules at the hands keep to the strides that were asked for.
        self.bench = replace(self.bench, goal=self.options.goal)

    def run(self) -> SessionEnd:
        """Go on from what the journal knows until the search stops, the user stops, or nothing more can be run.

        Returns how it ended. Raises AnswerIsNo when the cautions were not agreed to, JournalError when another
        session holds the unit, MachineError when a setting cannot be applied or a load not be started.
        """
        self._check()
        options, tally = self.options, _Tally()
        voice = self.bench.voice
        while True:
            try:
                with at_work(self.bench, off_stock=True, agreed=options.agreed, this_machine=options.this_machine):
                    if self.bench.voice is not voice:
                        # The lost run is judged; from here on somebody may be asked again.
                        self.bench = replace(self.bench, voice=voice)
                    return self._go_on(tally)
            except LineLost as lost:
                self.bench = wait_for(self.bench, lost)

    @cached_property
    def conditions(self) -> Conditions:
        """The conditions of this session's runs: from the card, the options and the machine."""
        unit = self.bench.unit
        found = {
            "ambient_celsius": self.options.ambient_celsius,
            "power_mode": self.options.power_mode or unit.power_mode,
            "cooling": unit.cooling,
            "supply": unit.supply,
            "firmware": unit.firmware,
            "driver": unit.driver,
            "operating_system": self.bench.machine.operating_system(),
        }
        return validated(Conditions, found, "the conditions")

    def _check(self) -> None:
        """Find everything that can be wrong with what was asked for, before anything is written."""
        bench, unit = self.bench, self.bench.unit
        for name in self.options.knobs or ():
            if leader := unit.knob(name).linked_to:
                raise BadInput(f"knob {name!r} moves with {leader!r}.", remedy="Tune that one instead.")
        if not unit.knobs:
            raise BadInput("the card has no knobs, so there is nothing to tune.", where=f"unit {unit.name!r}")
        _ = self._assess(self._runs()).step
        if self.options.load is not None:
            bench.machine.load(self.options.load, unit)
        # Hands that are not known, or that nobody is there to be, are told here.
        _ = bench.hands

    def _go_on(self, tally: _Tally) -> SessionEnd:
        options, voice = self.options, self.bench.voice
        while True:
            runs = self._runs()
            found = self._assess(runs)
            step = found.step
            if step.stop:
                voice.say(step.reason, "heading")
                return self._end(step.why_stop, step.claim, tally)
            if options.max_runs is not None and len(tally.made) >= options.max_runs:
                return self._end("paused", f"{count(len(tally.made), 'run')} asked for and made.", tally)
            if options.max_minutes is not None and tally.minutes >= options.max_minutes:
                return self._end("paused", f"{tally.minutes:.0f} min under load were used.", tally)
            self._present(step)
            choice = voice.choose(
                "Make this run?",
                {"go": "make it", "pause": "put the unit to stock and wait", "stop": "end the session here"},
                "go",
            )
            if choice == "stop":
                return self._end("stopped", "stopped by the user.", tally)
            if choice == "pause":
                where = "the unit is at stock" if to_stock(self.bench) else "see that the unit is at stock"
                voice.ask(f"Paused; {where}. Press Enter to go on", "")
                continue
            run = self._make(step, runs, edge_words(self.bench.unit, found.edges))
            tally.add(run)
            self._tell(run)
            if tally.voids_in_a_row >= VOIDS_IN_A_ROW:
                claim = f"the last {tally.voids_in_a_row} runs proved nothing ({run.outcome}); mend that first."
                return self._end("voids", claim, tally)

    def _runs(self) -> list[Run]:
        return self.bench.journal.runs(self.bench.unit.name)

    def _assess(self, runs: Sequence[Run]) -> Assessment:
        """What the runs say now: the one place that a session asks."""
        options = self.options
        return assess(
            self.bench.unit,
            runs,
            options.goal,
            knobs=options.knobs,
            strategy=options.strategy,
            conditions=self.conditions,
        )

    def _present(self, step: Step) -> None:
        voice = self.bench.voice
        setting = step.setting.describe(self.bench.unit)
        voice.say(f"Next: {setting} for {step.minutes:.0f} min, {chance_words(step.failure_chance)}", "heading")
        voice.say(step.reason)
        if step.settles:
            voice.say(step.settles, "quiet")

    def _make(self, step: Step, runs: Sequence[Run], edge: str) -> Run:
        options, bench = self.options, self.bench
        start, start_words = settle(bench, options.settling, first_start(runs))
        run_plan = RunPlan(
            unit_name=bench.unit.name,
            setting=step.setting,
            load=load_for(bench, step, options.load),
            planned_minutes=step.minutes,
            purpose=step.purpose,
            knob=step.knob or None,
            conditions=self.conditions,
            boot_id=bench.machine.boot_id(),
            source=bench.machine.source,
        )
        holding = Holding(
            sample_seconds=options.sample_seconds,
            heartbeat_seconds=options.heartbeat_seconds,
            lost_score=lambda rates, detail: lost_score(bench.unit, run_plan, rates, runs, detail),
            start=start,
            start_words=start_words,
            chance=chance_words(step.failure_chance),
            edge=edge,
        )
        return hold(bench, run_plan, holding)

    def _tell(self, run: Run) -> None:
        closing = run.closing
        if closing is None:
            return
        tone: dict[bool | None, Tone] = {True: "good", False: "bad", None: "warn"}
        held = None if closing.outcome in (Outcome.VOID, Outcome.OVERHEAT) else closing.outcome is Outcome.HELD
        asked = run.plan.setting
        setting = run.setting.describe(self.bench.unit)
        if run.setting != asked:
            setting += f" (asked for {asked.describe(self.bench.unit)})"
        self.bench.voice.say(
            f"Run {run.id}: {setting}: {closing.outcome.value} after {closing.minutes:.1f} min; {closing.judged_by}.",
            tone[held],
        )

    def _end(self, why: str, claim: str, tally: _Tally) -> SessionEnd:
        at_stock = to_stock(self.bench) if tally.made else True
        if claim:
            self.bench.voice.say(claim)
        known = self._assess(self._runs()).known
        return SessionEnd(why, claim, known, tuple(tally.made), at_stock, self.options.strategy)


def edge_words(unit: Unit, edges: Mapping[str, float]) -> str:
    """Where the edge is thought to be so far, in words; "" while nothing is known of it."""
    found = [f"{name} about {unit.knob(name).describe(round(depth))}" for name, depth in edges.items() if depth >= 1]
    return f"edge so far: {', '.join(found)}" if found else ""


def first_start(runs: Sequence[Run]) -> dict[str, float] | None:
    """The start temperatures of the first run that has any: what later starts are compared with."""
    for run in runs:
        if run.closing and (start := run.closing.detail.get("start")):
            return {name: float(value) for name, value in start.items()}
    return None
