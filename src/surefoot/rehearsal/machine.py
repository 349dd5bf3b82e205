"""A virtual machine: edges that are known, heat that follows lumped physics, crashes, and a clock of its own."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from surefoot.errors import BadInput
from surefoot.load_names import core_load
from surefoot.rehearsal.heat import CHIPS, COOLINGS, MODES, USUAL_COOLING, USUAL_MODE, Body, Tuning
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import UNKNOWN_ENDING, Ending, LoadState, Outcome, Source
from surefoot.units import Knob, Setting, Unit

# Dated, so that the same seed gives the same journal whenever it is played.
FIRST_MOMENT: Final = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
REBOOT_SECONDS: Final = 240.0
WORK_PER_SECOND: Final = 180.0
EVERYTHING: Final = "everything"
SCENE_SECONDS: Final = (20.0, 60.0)
LEAST_BUSY: Final = 0.86
"""A load is not equally heavy all the time: scenes of some length, each a little lighter or heavier."""
STRAY_READING: Final = 0.012
"""Chance that a temperature reads a few degrees high for one sample, as sensors do now and then."""
GPU_POWER_CAP: Final = 0x4
GPU_HEAT: Final = 0x20
"""Bits of the NVML API reference, clocks event reasons: software power cap, software thermal slowdown."""


class MachineDown(BaseException):
    """The virtual machine went down. Not an Exception: no code of ours may catch it and carry on, as none could."""


class VirtualMachine:
    """Satisfies the guide's `Machine`. ``edges``: the truth of each searched knob by name.

    ``power_mode`` and ``cooling``: of those in `heat`; any other name counts as the usual one. A crash
    raises MachineDown from `sleep`; `restart` brings the machine back at stock under another boot identity.
    """

    source: Source = "virtual"

    def __init__(
        self,
        unit: Unit,
        edges: Mapping[str, VirtualUnit],
        seed: int,
        *,
        room_celsius: float = 21.0,
        power_mode: str = USUAL_MODE,
        cooling: str = USUAL_COOLING,
        start: datetime = FIRST_MOMENT,
    ) -> None:
        leaders = {knob.name for knob in unit.leaders()}
        if set(edges) != leaders:
            raise BadInput(f"edges are needed for {', '.join(sorted(leaders))}.", where="virtual machine")
        self.unit = unit
        self.edges = dict(edges)
        self.setting = Setting()
        self.body = Body(room_celsius)
        self.put(power_mode=power_mode, cooling=cooling)
        self._scene_ends = 0.0
        self._rng = np.random.default_rng([seed, 7])
        self._start = start
        self._seconds = 0.0
        self._booted_at = 0.0
        self._boots = 1
        self._seed = seed
        self._running: VirtualSession | None = None

    @property
    def room_celsius(self) -> float:
        """The room's temperature."""
        return self.body.room

    @room_celsius.setter
    def room_celsius(self, celsius: float) -> None:
        self.body.room = celsius

    def put(self, *, power_mode: str | None = None, cooling: str | None = None) -> None:
        """Change the power mode or the cooling."""
        if power_mode is not None:
            self.body.mode = MODES.get(power_mode, MODES[USUAL_MODE])
        if cooling is not None:
            self.body.cooling = COOLINGS.get(cooling, COOLINGS[USUAL_COOLING])

    def identity(self) -> str:
        """The unit itself."""
        return f"virtual {self.unit.name}"

    def boot_id(self) -> str:
        """Another after each `restart`."""
        return f"virtual-{self._seed}-boot-{self._boots}"

    def operating_system(self) -> str:
        """A made-up one."""
        return "Virtual 1.0"

    def now(self) -> datetime:
        """The virtual wall clock."""
        return self._start + timedelta(seconds=self._seconds)

    def seconds(self) -> float:
        """The virtual clock."""
        return self._seconds

    def asleep_seconds(self) -> float | None:
        """Not known here."""
        return None

    def sleep(self, seconds: float) -> None:
        """Let virtual time pass. Raises MachineDown when a crash falls into it."""
        end = self._seconds + seconds
        running = self._running
        if running is not None and running.crashes_at is not None and running.crashes_at <= end:
            self._pass(running.crashes_at - self._seconds)
            self._seconds = running.crashes_at
            self._running = None
            raise MachineDown(f"virtual machine down at {self.setting.describe(self.unit)}")
        self._pass(seconds)
        self._seconds = end

    def restart(self) -> None:
        """After a crash: at stock, cooler, another boot."""
        self._running = None
        self.setting = Setting()
        self._pass(REBOOT_SECONDS)
        self._seconds += REBOOT_SECONDS
        self._booted_at = self._seconds
        self._boots += 1

    def sample(self) -> dict[str, float]:
        """What the sensors make of it: rounded as they round, with a little noise and a stray reading now and then."""
        body, rng = self.body, self._rng
        found: dict[str, float] = {"room.temperature": round(body.room + float(rng.normal(0, 0.05)), 1)}
        for name, chip in CHIPS.items():
            stray = float(rng.uniform(1.5, 4.0)) if rng.random() < STRAY_READING else 0.0
            read = min(body.chip[name] + stray, max(body.chip[name], chip.throttle + 2.0))
            found[f"{name}.temperature"] = round(read + float(rng.normal(0, 0.3)))
            found[f"{name}.power"] = round(body.watts[name] * (1 + float(rng.normal(0, 0.005))), 1)
            found[f"{name}.clock"] = round(body.mhz[name] + float(rng.normal(0, 6)))
            found[f"{name}.voltage"] = round(chip.volts_at(body.mhz[name], body.tuning[name]), 3)
            found[f"{name}.busy"] = round(100 * body.busy[name], 1)
        found["cpu.fan"] = round(body.rpm / 10) * 10
        found["cpu.thermal-flag"] = float(body.held_by["cpu"] == "heat")
        found["cpu.power-flag"] = float(body.held_by["cpu"] == "power")
        found["gpu.reasons"] = {"heat": GPU_HEAT, "power": GPU_POWER_CAP}.get(body.held_by["gpu"], 0)
        return found

    def missing(self) -> Sequence[str]:
        """Nothing is missing on a virtual machine."""
        return ()

    def load(self, name: str, unit: Unit) -> VirtualLoad:
        """Any name will do."""
        return VirtualLoad(name, self)

    def default_load(self, unit: Unit, knob: str | None) -> str:
        """The card's word, else one load per domain; for all knobs the card's load that bears on every domain."""
        if knob is not None:
            one = unit.knob(knob)
            return one.load or (core_load(one.cores) if one.cores else one.domain)
        domains = {one.domain for one in unit.knobs}
        whole = [card.name for card in unit.loads if domains <= set(card.exercises)]
        return whole[0] if whole else EVERYTHING

    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> VirtualHands:
        """Hands that apply at once."""
        return VirtualHands(self)

    def power_mode(self) -> str | None:
        """The mode that it was put into."""
        return next((name for name, mode in MODES.items() if mode is self.body.mode), None)

    def up_seconds(self) -> float:
        """Since the last boot."""
        return self._seconds - self._booted_at

    def ending(self, boot_id: str | None, since: datetime) -> Ending:
        """Nobody keeps a record of a virtual machine's restarts."""
        return UNKNOWN_ENDING

    def faults_since(self, moment: datetime) -> Sequence[tuple[Outcome, str]]:
        """A virtual machine logs nothing."""
        return ()

    def draw_failure(self, minutes: float, load: str = EVERYTHING) -> tuple[float, Knob] | None:
        """When, within so many minutes, and by which knob the load that starts now will fail: the first of them.

        While one core works, the others idle: their knobs are not tried.
        """
        session_minutes = self._seconds / 60
        first: tuple[float, Knob] | None = None
        alone = [knob for knob in self.unit.leaders() if knob.cores and core_load(knob.cores) == load]
        for knob in alone or self.unit.leaders():
            if not self.setting.value(knob.name):
                continue
            depth = knob.depth_of(self.setting.value(knob.name))
            hours = self.edges[knob.name].hours_to_failure(depth, minutes, session_minutes, self._rng)
            if math.isfinite(hours) and (first is None or hours < first[0]):
                first = hours, knob
        return None if first is None else (self._seconds + first[0] * 3600, first[1])

    def is_soft(self, knob: Knob) -> bool:
        """Whether this failure of the knob is one that the self-check catches."""
        return bool(self._rng.random() < self.edges[knob.name].soft_share)

    def begin(self, session: VirtualSession) -> None:
        """A load was started."""
        self._running = session

    def end(self, session: VirtualSession) -> None:
        """A load was stopped."""
        if self._running is session:
            self._running = None

    @contextlib.contextmanager
    def sure_to_hold(self, load: str) -> Iterator[None]:
        """Under a load that does not fail while the block runs."""
        session = VirtualSession(load, self, 0.0)
        try:
            yield
        finally:
            self.end(session)

    def exercised_by(self, load: str) -> tuple[str, ...]:
        """The domains that a load bears on: its card's word, every part for the one that runs all, else its name."""
        for card in self.unit.loads:
            if card.name == load and card.exercises:
                return card.exercises
        if core := [knob for knob in self.unit.leaders() if knob.cores and core_load(knob.cores) == load]:
            return (core[0].domain, *(f"core-{number}" for number in core[0].cores))
        named = tuple(part for part in CHIPS if part in load.split("-"))
        return tuple(CHIPS) if load == EVERYTHING else named if len(named) > 1 else (load,)

    def _pass(self, seconds: float) -> None:
        """Let virtual time pass for the body: scene after scene of the load, at what the knobs are set to now."""
        self.body.tuning = {name: self._tuning(name) for name in CHIPS}
        end, now = self._seconds + seconds, self._seconds
        loaded = self.exercised_by(self._running.name) if self._running is not None else ()
        if not loaded:
            self.body.busy = dict.fromkeys(CHIPS, 0.0)
            self._scene_ends = 0.0
            self.body.pass_time(seconds)
            return
        while now < end - 1e-9:
            if now >= self._scene_ends - 1e-9:
                self._scene_ends = now + float(self._rng.uniform(*SCENE_SECONDS))
                busy = float(self._rng.uniform(LEAST_BUSY, 1.0))
                # What is heavy for the processor is light for the graphics, and the other way round.
                shares = {"cpu": busy, "gpu": 1.0 + 0.5 * (LEAST_BUSY - busy)}
                self.body.busy = {name: shares.get(name, busy) if name in loaded else 0.0 for name in CHIPS}
            part = min(end, self._scene_ends) - now
            self.body.pass_time(part)
            now += part

    def _tuning(self, domain: str) -> Tuning:
        """What the knobs of a chip are at; of several of one kind the first rules."""
        knobs = [knob for knob in self.unit.leaders() if knob.domain == domain]
        volts = [self.setting.value(knob.name) for knob in knobs if knob.is_voltage]
        clocks = [self.setting.value(knob.name) for knob in knobs if knob.is_clock]
        watts = [self.setting.value(knob.name) for knob in knobs if knob.unit == "W"]
        return Tuning(*(values[0] if values else 0.0 for values in (volts, clocks, watts)))


class VirtualHands:
    """Hands of a virtual machine: values land on whole steps, as hardware's do."""

    kind = "command"
    can_read_back = True

    def __init__(self, machine: VirtualMachine) -> None:
        self._machine = machine

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Set and read back."""
        unit.depths(setting)
        steps = {knob.name: knob.step for knob in unit.knobs}
        landed = {
            name: math.copysign(math.floor(abs(value) / steps[name] + 1e-9) * steps[name], value)
            for name, value in setting.values.items()
        }
        self._machine.setting = Setting(values=landed)
        return self._machine.setting

    def read_back(self, unit: Unit) -> Setting | None:
        """What is set."""
        return self._machine.setting


class VirtualLoad:
    """A load of a virtual machine: does checked work until the setting fails."""

    by_hand = False

    def __init__(self, name: str, machine: VirtualMachine) -> None:
        self.name = name
        self._machine = machine

    def exercises(self) -> tuple[str, ...]:
        """The domains that it loads, transitions included."""
        return (*self._machine.exercised_by(self.name), "transition")

    def start(self, minutes: float) -> VirtualSession:
        """Begin; the moment of failure is drawn now."""
        return VirtualSession(self.name, self._machine, minutes)


class VirtualSession:
    """A virtual load under way. ``crashes_at``: the virtual second at which the machine will go down, or None."""

    def __init__(self, name: str, machine: VirtualMachine, minutes: float) -> None:
        self.name = name
        self._machine = machine
        self._began = machine.seconds()
        self.crashes_at: float | None = None
        self._wrong_at: float | None = None
        self._cause: Knob | None = None
        if failure := machine.draw_failure(minutes, name):
            moment, self._cause = failure
            if machine.is_soft(self._cause):
                self._wrong_at = moment
            else:
                self.crashes_at = moment
        machine.begin(self)

    def poll(self) -> LoadState:
        """Running, or failed once the drawn moment has come."""
        machine = self._machine
        progress = round((machine.seconds() - self._began) * WORK_PER_SECOND)
        if self._wrong_at is not None and machine.seconds() >= self._wrong_at and self._cause is not None:
            return LoadState(
                "failed",
                progress,
                "checking",
                Outcome.MISCOMPUTE,
                "a matrix product did not pass its check",
                {"processor": _processor(self._cause, int(self._wrong_at)), "kernel": "product"},
            )
        return LoadState("running", progress, "working")

    def stop(self) -> LoadState:
        """End it."""
        last = self.poll()
        self._machine.end(self)
        if last.state == "failed":
            return last
        return LoadState("stopped", last.progress, "stopped", None, f"{last.progress:,} results checked, none wrong")


def _processor(cause: Knob, draw: int) -> int:
    """On which processor a wrong result was seen: one of the knob's own, where it governs some."""
    return cause.cores[draw % len(cause.cores)] if cause.cores else draw % 8
