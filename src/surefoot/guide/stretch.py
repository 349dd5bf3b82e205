"""One stretch of use: a run of purpose `use`, written ahead, a heartbeat a minute, two clocks, read back as it goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from surefoot.errors import JournalError, MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.interrupts import no_interrupts
from surefoot.guide.use_counters import counters, part_of_knob
from surefoot.guide.watch import Heat
from surefoot.runs import USE, Closing, Outcome, Run, RunPlan, Trace
from surefoot.thermal.under_load import Level, under_load
from surefoot.units import Conditions, Setting

SAMPLE_SECONDS: Final = 10.0
HEARTBEAT_SECONDS: Final = 60.0
STRETCH_MINUTES: Final = 240.0
"""After so long awake a stretch is closed, its hours count, and the setting is chosen anew."""
SLEPT_SECONDS: Final = 30.0
"""A look that comes so much later than it was to: the machine slept. The time between counts for neither clock."""
KEPT: Final = ("temperature", "power", "busy", "clock", "charge")
"""Quantities of whole parts that are kept, one sample a heartbeat; cores and spots are not."""
FAULTS_EVERY: Final = 5
"""The system's log is read at every so many heartbeats, and at the end of a stretch."""


@dataclass(frozen=True, slots=True)
class StretchEnd:
    """How a stretch ended. ``kind``: ``review`` (its time is over), ``vanished``, ``mode``, ``failed``, ``stopped``."""

    kind: str
    words: str
    run: Run


@dataclass(slots=True)
class Stretch:
    """A stretch under way. ``acknowledged`` minutes are on disk; what came since the last heartbeat is pending."""

    bench: Bench
    setting: Setting
    levels: Mapping[str, Level]
    run_id: int
    began_at: datetime
    sample_seconds: float = SAMPLE_SECONDS
    heartbeat_seconds: float = HEARTBEAT_SECONDS
    awake: float = 0.0
    loaded: dict[str, float] = field(default_factory=dict)
    acknowledged: tuple[float, dict[str, float]] = (0.0, {})
    last: dict[str, float] = field(default_factory=dict)
    peaks: dict[str, float] = field(default_factory=dict)
    beats: int = 0
    slept: int = 0
    unwritten: bool = False

    @classmethod
    def open(
        cls,
        bench: Bench,
        setting: Setting,
        conditions: Conditions,
        minutes: float,
        levels: Mapping[str, Level],
        why: str,
    ) -> Stretch:
        """Write the stretch down, before its setting is applied."""
        plan = RunPlan(
            unit_name=bench.unit.name,
            setting=setting,
            load=USE,
            planned_minutes=minutes,
            purpose="use",
            conditions=conditions,
            boot_id=bench.machine.boot_id(),
            source=bench.machine.source,
            note=why,
        )
        run_id = bench.journal.open_run(plan, at=bench.machine.now())
        return cls(bench, setting, levels, run_id, bench.machine.now())

    def pass_time(self, seconds: float, sample: Mapping[str, float]) -> None:
        """Count time that was watched: awake, and under load for each knob whose part is."""
        self.awake += seconds / 60.0
        for knob in self.bench.unit.leaders():
            if self.setting.value(knob.name) and under_load(sample, part_of_knob(knob), self.levels):
                self.loaded[knob.name] = self.loaded.get(knob.name, 0.0) + seconds / 60.0
        self.last = dict(sample)
        for name, value in sample.items():
            if name.split(".")[1:2] == ["temperature"]:
                self.peaks[name] = max(value, self.peaks.get(name, value))

    def forget_pending(self) -> None:
        """Back to what is acknowledged: the setting may not have been there since."""
        self.awake, loaded = self.acknowledged
        self.loaded = dict(loaded)

    def beat(self) -> None:
        """Write both clocks and a thinned sample down. Raises JournalError when it cannot be written."""
        kept = {name: value for name, value in self.last.items() if _is_kept(name)}
        sample = {**kept, **counters(self.bench.unit, self.awake, self.loaded)}
        trace = Trace.from_samples([(self.awake * 60.0, sample)], self.began_at)
        self.bench.journal.heartbeat(self.run_id, self.minutes, trace)
        self.acknowledged = (self.awake, dict(self.loaded))
        self.beats += 1

    @property
    def minutes(self) -> float:
        """Minutes under load, of the knob whose part was for longest."""
        return max(self.loaded.values(), default=0.0)

    def close(self, outcome: Outcome, judged_by: str) -> Run:
        """Write down how it ended. Raises JournalError when that cannot be written: the next start then judges it."""
        tuned = [knob.name for knob in self.bench.unit.leaders() if self.setting.value(knob.name)]
        worked = [name for name in tuned if self.loaded.get(name)] if outcome is Outcome.HELD else tuned
        detail: dict[str, Any] = {
            "awake_minutes": round(self.awake, 3),
            "loaded": {name: round(self.loaded.get(name, 0.0), 3) for name in tuned},
            "exercises": worked or tuned,
            "peaks": self.peaks,
            "slept": self.slept,
        }
        closing = Closing(outcome=outcome, minutes=self.minutes, judged_by=judged_by, detail=detail)
        with no_interrupts():
            self.bench.journal.close_run(self.run_id, closing, at=self.bench.machine.now())
        return self.bench.journal.run(self.run_id)


def _is_kept(name: str) -> bool:
    _, _, rest = name.partition(".")
    quantity, _, part = rest.partition(".")
    return quantity in KEPT and not part


def hold_in_use(stretch: Stretch, minutes: float, mode: str | None) -> StretchEnd:
    """Watch until the time is over, the setting vanished, the mode changed, or something failed; the run is closed.

    ``minutes``: awake at the setting; ``mode``: the power mode that it began in. Ctrl-C closes it and is raised again.
    """
    bench, machine = stretch.bench, stretch.bench.machine
    heat = Heat(machine, bench.unit.ceilings_celsius)
    before, wall = machine.seconds(), machine.now()
    beat_at, warned_at = before, float("-inf")
    asked_at = stretch.began_at
    try:
        while True:
            machine.sleep(stretch.sample_seconds)
            now, now_wall = machine.seconds(), machine.now()
            gap = now - before
            # Which of the two clocks stops in sleep differs by system; one that was set looks like sleep as well, and
            # then a reading back too many does no harm.
            jumped = abs((now_wall - wall).total_seconds() - gap) > SLEPT_SECONDS
            slept = gap > stretch.sample_seconds + SLEPT_SECONDS
            before, wall = now, now_wall
            sample, hot = heat.read()
            if hot and now - warned_at > 600.0:
                warned_at = now
                bench.voice.say(
                    f"{hot}: hotter than the card allows. Surefoot cannot stop what you run; ease it.", "warn"
                )
            if slept or jumped:
                stretch.slept += 1
            if not slept:
                stretch.pass_time(gap, sample)
            due = now - beat_at >= stretch.heartbeat_seconds - 1e-6 or slept or jumped
            over = stretch.awake >= minutes - 1e-6
            if not due and not over:
                continue
            beat_at = now
            look = over or stretch.beats % FAULTS_EVERY == 0
            if look and (faults := machine.faults_since(asked_at)):
                outcome, words = faults[0]
                return _end(stretch, "failed", outcome, f"the system's log: {words}")
            if gone := _gone(stretch):
                stretch.forget_pending()
                return _end(stretch, "vanished", Outcome.HELD, f"ended when the setting was gone: {gone}")
            _write(stretch)
            if (mode_now := machine.power_mode()) != mode:
                return _end(stretch, "mode", Outcome.HELD, f"the power mode went from {mode} to {mode_now}")
            # While the journal cannot be written the stretch goes on: its close could not be written either.
            if over and not stretch.unwritten:
                return _end(stretch, "review", Outcome.HELD, "held in use; the setting is chosen anew")
    except (KeyboardInterrupt, SystemExit):
        if _gone(stretch):
            stretch.forget_pending()
        stretch.close(Outcome.HELD, "stopped by the user; it had held so far")
        raise


def _end(stretch: Stretch, kind: str, outcome: Outcome, words: str) -> StretchEnd:
    return StretchEnd(kind, words, stretch.close(outcome, words))


def _gone(stretch: Stretch) -> str:
    """In words, what does not read back as set; "" when all does, or when only a person could say."""
    bench = stretch.bench
    if bench.hands.kind == "ask" or not bench.hands.can_read_back:
        return ""
    try:
        return "; ".join(bench.missing(stretch.setting, bench.hands.read_back(bench.unit)))
    except MachineError as error:
        return f"it could not be read back: {error.message()}"


def _write(stretch: Stretch) -> None:
    """A heartbeat; one that cannot be written (a full disk) is told once, and its minutes go with the next."""
    voice = stretch.bench.voice
    try:
        stretch.beat()
    except JournalError as error:
        if not stretch.unwritten:
            voice.say(
                f"A heartbeat was not written: {error.message()} What is not on disk is lost if this ends.", "bad"
            )
        stretch.unwritten = True
        return
    if stretch.unwritten:
        voice.say("The journal can be written again: nothing is lost.", "good")
        stretch.unwritten = False
