"""Living with a setting: chosen from the journal, applied, watched, stepped back or on, until it is stopped."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from surefoot.errors import AnswerIsNo, MachineError
from surefoot.guide.at_work import at_work, where_it_is
from surefoot.guide.bench import Bench
from surefoot.guide.remote.again import wait_for
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.stretch import (
    HEARTBEAT_SECONDS,
    SAMPLE_SECONDS,
    STRETCH_MINUTES,
    Stretch,
    StretchEnd,
    hold_in_use,
)
from surefoot.guide.unclosed import went_down
from surefoot.guide.voice import Voice
from surefoot.runs import USE, Outcome, Run
from surefoot.search.use_choice import InUse, UseChoice, check_chance, choose_for_use, in_use
from surefoot.thermal.under_load import Level, bench_levels
from surefoot.units import Conditions, Setting, validated

UP_MINUTES: Final = 10.0
"""After a login nothing is applied before the machine has been up for so long ..."""
IDLE_MINUTES: Final = 3.0
"""... and idle, with nothing logged against it, for so long without a break."""
IDLE_BUSY: Final = 25.0
"""Percent busy below which a part is idle."""
MOST_VANISHED: Final = 3
"""How often a setting may vanish within one start before it is left alone: something else keeps setting it."""
LEVEL_RUNS: Final = 8
"""How many of the last bench runs that held say what a load is."""

TRIAL_CAUTION: Final = (
    "A trial is held at a setting that is not certified: it may crash sooner than the certified one, perhaps today, in "
    "the middle of your work. Not for work that must not be lost, nor on somebody else's machine; save often, back up."
)


@dataclass(frozen=True, slots=True)
class Living:
    """How to live with a unit. ``chance``: of a trial, None for the certified setting; ``minutes``: awake, then stop
    (None: until stopped); ``to_stock``: back to stock when stopped; ``after_login``: wait until the machine is up and
    idle-stable, and apply nothing while a crash is not judged; the rest as elsewhere."""

    chance: float | None = None
    agreed: bool = False
    this_machine: bool = False
    minutes: float | None = None
    to_stock: bool = False
    after_login: bool = False
    ambient_celsius: float | None = None
    sample_seconds: float = SAMPLE_SECONDS
    heartbeat_seconds: float = HEARTBEAT_SECONDS
    stretch_minutes: float = STRETCH_MINUTES


@dataclass(frozen=True, slots=True)
class Lived:
    """How it ended: why, the setting that stands now, and what use has brought so far."""

    why: str
    setting: Setting
    choice: UseChoice
    use: InUse


def choose(bench: Bench, chance: float | None) -> UseChoice:
    """What to live with on the bench now."""
    runs = bench.journal.runs(bench.unit.name)
    conditions = Conditions(firmware=bench.unit.firmware, driver=bench.unit.driver)
    return choose_for_use(bench.unit, runs, bench.goal, chance, conditions=conditions)


def live(bench: Bench, living: Living) -> Lived:
    """Live with the unit until it is stopped, the time is over, or nothing is left to live with.

    Raises AnswerIsNo when nothing is certified, the cautions or the trial were declined, or a crash is not judged yet;
    MachineError when a setting cannot be applied; JournalError when another session holds the unit.
    """
    check_chance(living.chance, bench.goal)
    if living.after_login:
        _refuse_unjudged(bench)
    if living.chance is not None:
        _agree_to_trial(bench, living)
    voice = bench.voice
    while True:
        try:
            return _live(bench, living, voice)
        except LineLost as lost:
            bench = wait_for(bench, lost)


def _live(bench: Bench, living: Living, voice: Voice) -> Lived:
    with at_work(
        bench, off_stock=True, agreed=living.agreed, this_machine=living.this_machine, stays=not living.to_stock
    ):
        # A stretch that was lost with the line is judged by now; from here on somebody may be asked again.
        bench = replace(bench, voice=voice)
        if living.chance is not None:
            bench.journal.give_consent(bench.unit.name, f"a trial: {TRIAL_CAUTION}")
        if living.after_login:
            wait_until_stable(bench)
        life = _Life(bench, living)
        why = "stopped"
        try:
            why = life.go_on()
        except KeyboardInterrupt:
            bench.voice.say("Stopped; what was held until now counts.", "warn")
        # A trial is not left alone, for nobody would see it fail; nor is what was not seen to be applied.
        if living.to_stock or life.choice.chance is not None or life.unseen:
            bench.voice.say(where_it_is(bench))
        else:
            bench.leave_applied()
        return Lived(why, bench.left_applied or Setting(), life.choice, in_use(bench.journal.runs(bench.unit.name)))


class _Life:
    """Stretch after stretch."""

    def __init__(self, bench: Bench, living: Living) -> None:
        self.bench, self.living = bench, living
        self.chance = living.chance
        self.awake = 0.0
        self.vanished = 0
        self._there: Setting | None = None
        self.unseen = False
        """Whether it was stopped while a setting was being applied."""
        self.choice = UseChoice(Setting(), Setting())
        self._levels = levels(bench)

    def go_on(self) -> str:
        """Until something ends it; why, in words."""
        voice, unit = self.bench.voice, self.bench.unit
        while True:
            self.choice = choose(self.bench, self.chance)
            setting = self.choice.setting
            if self.choice.over and self.chance is not None:
                voice.say(f"The trial gives way to the certified setting: {self.choice.over}.", "heading")
                if self.choice.ended:
                    self.chance = None
            if setting.is_stock:
                raise AnswerIsNo(
                    f"nothing deeper than stock is certified for {unit.name}, so there is nothing to live with.",
                    remedy="`surefoot tune` finds something.",
                )
            left = self._left()
            if left <= 0:
                return "the time that was asked for is over"
            voice.say(self._words(), "heading")
            for words in self.choice.next_words(unit):
                voice.say(words, "quiet")
            end = self._stretch(setting, min(left, self.living.stretch_minutes))
            self.awake += float((end.run.closing.detail if end.run.closing else {}).get("awake_minutes", 0.0))
            if end.kind == "failed":
                voice.say(f"Failed in use: {end.words}. Stepping back.", "bad")
            elif end.kind != "review":
                voice.say(f"The stretch ended after {end.run.minutes:.0f} min under load: {end.words}.", "warn")
            self.vanished += end.kind == "vanished"
            if self.vanished >= MOST_VANISHED:
                raise AnswerIsNo(
                    f"the setting vanished {self.vanished} times: something else keeps setting it.",
                    remedy="Look for the maker's own utility, then start again. What held until then counts.",
                )

    def _left(self) -> float:
        return float("inf") if self.living.minutes is None else self.living.minutes - self.awake

    def _words(self) -> str:
        unit = self.bench.unit
        if self.choice.chance is None:
            return f"Living with {self.choice.setting.describe(unit)}, the certified setting."
        return (
            f"Living with {self.choice.setting.describe(unit)}, on trial at {self.choice.chance:.0%}; certified is "
            f"{self.choice.certified.describe(unit)}."
        )

    def _stretch(self, setting: Setting, minutes: float) -> StretchEnd:
        bench, living = self.bench, self.living
        bench.permit(setting)
        mode = bench.machine.power_mode()
        why = "" if self.choice.chance is None else f"trial at {self.choice.chance:g}"
        stretch = Stretch.open(bench, setting, self._conditions(mode), minutes, self._levels, why)
        stretch.sample_seconds, stretch.heartbeat_seconds = living.sample_seconds, living.heartbeat_seconds
        try:
            read = self._see_applied(setting, stretch.run_id)
            if read is not None:
                bench.journal.applied(stretch.run_id, read)
            if wrong := bench.missing(setting, read):
                return StretchEnd("vanished", words := "; ".join(wrong), stretch.close(Outcome.VOID, words))
            end = hold_in_use(stretch, minutes, mode)
            self._there = setting if end.kind in ("review", "mode") else None
            return end
        except MachineError as error:
            stretch.close(Outcome.VOID, f"could not be lived with: {error.message()}")
            raise
        except (KeyboardInterrupt, SystemExit):
            if bench.journal.run(stretch.run_id).closing is None:
                self.unseen = True
                stretch.close(Outcome.VOID, "stopped by the user while it was being applied")
            raise

    def _see_applied(self, setting: Setting, run_id: int) -> Setting | None:
        """What is read back. A setting that stands already is not applied, and nobody asked for it, a second time."""
        hands = self.bench.hands
        if setting == self._there:
            if hands.kind == "ask" or not hands.can_read_back:
                return None
            read = hands.read_back(self.bench.unit)
            if not self.bench.missing(setting, read):
                return read
        return self.bench.apply(setting, f"run {run_id}, in use")

    def _conditions(self, mode: str | None) -> Conditions:
        unit = self.bench.unit
        return validated(
            Conditions,
            {
                "ambient_celsius": self.living.ambient_celsius,
                "power_mode": mode or unit.power_mode,
                "cooling": unit.cooling,
                "supply": unit.supply,
                "firmware": unit.firmware,
                "driver": unit.driver,
                "operating_system": self.bench.machine.operating_system(),
            },
            "the conditions",
        )


def levels(bench: Bench) -> dict[str, Level]:
    """What the parts were like in the last bench runs that held."""
    journal, name = bench.journal, bench.unit.name
    with_trace = journal.runs_with_trace(name)
    held = [
        run
        for run in journal.runs(name)
        if run.id in with_trace
        and run.plan.purpose != USE
        and run.outcome is Outcome.HELD
        and run.plan.source != "hand"
    ]
    return bench_levels(journal.trace(run.id) for run in held[-LEVEL_RUNS:])


def wait_until_stable(bench: Bench) -> None:
    """Wait until the machine has been up for `UP_MINUTES` and idle, with nothing logged, for `IDLE_MINUTES`."""
    machine, voice = bench.machine, bench.voice
    voice.say(
        f"Nothing is applied before the machine has been up for {UP_MINUTES:g} min and idle for {IDLE_MINUTES:g}.",
        "quiet",
    )
    since, began = machine.seconds(), machine.now()
    while machine.up_seconds() < UP_MINUTES * 60 or machine.seconds() - since < IDLE_MINUTES * 60:
        machine.sleep(SAMPLE_SECONDS)
        sample = machine.sample()
        busy = max((sample.get(f"{part}.busy", 0.0) for part in ("cpu", "gpu")), default=0.0)
        if busy > IDLE_BUSY or machine.faults_since(began):
            since = machine.seconds()


def unjudged(bench: Bench) -> Run | None:
    """The open run under which the machine went down and of which the system keeps no record how, or None."""
    machine = bench.machine
    for run in bench.journal.open_runs(bench.unit.name):
        if went_down(run, machine.boot_id()) and not machine.ending(run.plan.boot_id, run.opened_at).is_known:
            return run
    return None


def _refuse_unjudged(bench: Bench) -> None:
    run = unjudged(bench)
    if run is None or bench.voice.attended:
        return
    raise AnswerIsNo(
        f"the machine went down under run {run.id} at {run.setting.describe(bench.unit)} and nobody has said how.",
        where=f"unit {bench.unit.name!r}",
        remedy=f"Nothing was applied. `surefoot live {bench.unit.name}` at a terminal asks, and goes on.",
    )


def _agree_to_trial(bench: Bench, living: Living) -> None:
    voice = bench.voice
    voice.say(TRIAL_CAUTION, "warn")
    if not living.agreed:
        answer = voice.choose(
            f"Hold a trial setting on {bench.unit.name!r}, knowing this?",
            {"yes": "hold it", "no": "live with the certified setting instead, later"},
            "no",
        )
        if answer != "yes":
            raise AnswerIsNo(
                "the trial was declined: nothing was applied.",
                remedy="`surefoot live` without --trial holds the certified setting; --i-agree agrees unattended.",
            )
