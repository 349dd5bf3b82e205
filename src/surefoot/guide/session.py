"""The guided session: propose, apply, run, judge, record, until the search stops or the user does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from surefoot.errors import BadInput
from surefoot.guide.hold import Holding, hold, to_stock
from surefoot.guide.machine import Machine
from surefoot.guide.recovery import recover
from surefoot.guide.safety import consent
from surefoot.guide.settle import Settling, settle
from surefoot.guide.speed import lost_score
from surefoot.guide.voice import Voice
from surefoot.journal import Journal
from surefoot.rig.protocols import Hands
from surefoot.runs import Outcome, Run, RunPlan
from surefoot.search import Goal, KnownStable, Step, known_stable, plan
from surefoot.units import Conditions, Unit, validated

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

    @property
    def found(self) -> bool:
        """Whether something is known-stable now."""
        return self.known is not None


@dataclass(slots=True)
class Session:
    """A session on one unit; `run` holds the unit's writer lock from its start to its end."""

    journal: Journal
    unit: Unit
    machine: Machine
    voice: Voice
    options: Options = field(default_factory=Options)

    def run(self) -> SessionEnd:
        """Go on from what the journal knows until the search stops, the user stops, or nothing more can be run.

        Raises AnswerIsNo when the cautions are not agreed to, BadInput for an unknown knob, JournalError when another
        session holds the unit, MachineError when a setting cannot be applied or a load not be started.
        """
        for name in self.options.knobs or ():
            if self.unit.knob(name).linked_to:
                raise BadInput(
                    f"knob {name!r} moves with {self.unit.knob(name).linked_to!r}.", remedy="Tune that one instead."
                )
        if not self.unit.knobs:
            raise BadInput("the card has no knobs, so there is nothing to tune.", where=f"unit {self.unit.name!r}")
        # Everything that can be wrong with what was asked for is found before anything is written.
        conditions = self.conditions()
        self._plan(self.journal.runs(self.unit.name), conditions)
        if self.options.load is not None:
            self.machine.load(self.options.load, self.unit)
        hands = self.machine.hands(self.unit, self._prompt if self.voice.attended else None)
        with self.journal.writer(self.unit.name):
            consent(self.journal, self.unit.name, self.voice, self.options.agreed)
            recovered = recover(self.journal, self.unit.name, self.machine, self.voice)
            if recovered:
                to_stock(self.unit, hands, self.voice)
            return self._loop(hands, conditions)

    def conditions(self) -> Conditions:
        """The conditions of this session's runs: from the card, the options and the machine."""
        found = {
            "ambient_celsius": self.options.ambient_celsius,
            "power_mode": self.options.power_mode or self.unit.power_mode,
            "cooling": self.unit.cooling,
            "supply": self.unit.supply,
            "firmware": self.unit.firmware,
            "driver": self.unit.driver,
            "operating_system": self.machine.operating_system(),
        }
        return validated(Conditions, found, "the conditions")

    def _loop(self, hands: Hands, conditions: Conditions) -> SessionEnd:
        options, voice = self.options, self.voice
        made: list[int] = []
        minutes = 0.0
        voids = 0
        while True:
            runs = self.journal.runs(self.unit.name)
            step = self._plan(runs, conditions)
            if step.stop:
                voice.say(step.reason, "heading")
                return self._end(step.why_stop, step.claim, runs, conditions, made, hands)
            if options.max_runs is not None and len(made) >= options.max_runs:
                return self._end("paused", f"{len(made)} runs were asked for and made.", runs, conditions, made, hands)
            if options.max_minutes is not None and minutes >= options.max_minutes:
                return self._end("paused", f"{minutes:.0f} min under load were used.", runs, conditions, made, hands)
            self._present(step)
            choice = voice.choose(
                "Make this run?",
                {"go": "make it", "pause": "put the unit to stock and wait", "stop": "end the session here"},
                "go",
            )
            if choice == "stop":
                return self._end("stopped", "stopped by the user.", runs, conditions, made, hands)
            if choice == "pause":
                to_stock(self.unit, hands, voice)
                voice.ask("Paused, the unit is at stock. Press Enter to go on", "")
                continue
            run = self._make(step, runs, conditions, hands)
            made.append(run.id)
            minutes += run.minutes
            self._tell(run)
            voids = voids + 1 if run.outcome in (Outcome.VOID, Outcome.OVERHEAT) else 0
            if voids >= VOIDS_IN_A_ROW:
                runs = self.journal.runs(self.unit.name)
                claim = f"the last {voids} runs proved nothing ({run.outcome}); mend that first."
                return self._end("voids", claim, runs, conditions, made, hands)

    def _plan(self, runs: Sequence[Run], conditions: Conditions) -> Step:
        return plan(
            self.unit,
            runs,
            self.options.goal,
            knobs=self.options.knobs,
            strategy=self.options.strategy,
            conditions=conditions,
        )

    def _present(self, step: Step) -> None:
        voice = self.voice
        voice.say(f"Next: {step.setting.describe(self.unit)} for {step.minutes:.0f} min", "heading")
        voice.say(step.reason)
        if step.settles:
            voice.say(step.settles, "quiet")

    def _make(self, step: Step, runs: Sequence[Run], conditions: Conditions, hands: Hands) -> Run:
        options = self.options
        start, start_words = settle(self.machine, self.voice, options.settling, first_start(runs))
        load = options.load or step.load or self.machine.default_load(self.unit, step.knob or None)
        run_plan = RunPlan(
            unit_name=self.unit.name,
            setting=step.setting,
            load=load,
            planned_minutes=step.minutes,
            purpose="joint" if step.purpose == "joint" else "search",
            knob=step.knob or None,
            conditions=conditions,
            boot_id=self.machine.boot_id(),
            source="virtual" if self.machine.source == "virtual" else "rig",
        )
        holding = Holding(
            sample_seconds=options.sample_seconds,
            heartbeat_seconds=options.heartbeat_seconds,
            lost_score=lambda rates: lost_score(self.unit, run_plan, rates, runs),
            start=start,
            start_words=start_words,
        )
        return hold(self.journal, self.unit, self.machine, hands, self.voice, run_plan, holding)

    def _tell(self, run: Run) -> None:
        closing = run.closing
        if closing is None:
            return
        tone: dict[bool | None, str] = {True: "good", False: "bad", None: "warn"}
        held = None if closing.outcome in (Outcome.VOID, Outcome.OVERHEAT) else closing.outcome is Outcome.HELD
        asked = run.plan.setting
        setting = run.setting.describe(self.unit)
        if run.setting != asked:
            setting += f" (asked for {asked.describe(self.unit)})"
        self.voice.say(
            f"Run {run.id}: {setting}: {closing.outcome.value} after {closing.minutes:.1f} min; {closing.judged_by}.",
            tone[held],  # type: ignore[arg-type]
        )

    def _end(
        self,
        why: str,
        claim: str,
        runs: Sequence[Run],
        conditions: Conditions,
        made: Sequence[int],
        hands: Hands,
    ) -> SessionEnd:
        known = known_stable(self.unit, runs, self.options.goal, conditions=conditions)
        if claim:
            self.voice.say(claim)
        at_stock = to_stock(self.unit, hands, self.voice) if made else True
        return SessionEnd(why, claim, known, tuple(made), at_stock)

    def _prompt(self, question: str, default: str) -> str:
        return self.voice.ask(question, default)


def first_start(runs: Sequence[Run]) -> dict[str, float] | None:
    """The start temperatures of the first run that has any: what later starts are compared with."""
    for run in runs:
        if run.closing and (start := run.closing.detail.get("start")):
            return {name: float(value) for name, value in start.items()}
    return None
