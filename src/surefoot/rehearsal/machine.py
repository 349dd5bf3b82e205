"""A virtual machine: edges that are known, heat that follows lumped physics, crashes, and a clock of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import LoadState, Outcome
from surefoot.units import Knob, Setting, Unit

# Dated, so that the same seed gives the same journal whenever it is played.
FIRST_MOMENT: Final = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
REBOOT_SECONDS: Final = 240.0
WORK_PER_SECOND: Final = 180.0
EVERYTHING: Final = "everything"


class MachineDown(BaseException):
    """The virtual machine went down. Not an Exception: no code of ours may catch it and carry on, as none could."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A knob's true edge: the depth at which the MTTF is one hour, and the depth per decade of the hazard.

    ``soft_share``: share of its failures that the load's self-check catches.
    """

    mttf_one_hour_depth: float
    depth_per_decade: float
    soft_share: float = 0.3

    def hazard_per_hour(self, depth: float) -> float:
        """Failures per hour of load at a depth (the design's hazard)."""
        return float(10 ** ((depth - self.mttf_one_hour_depth) / self.depth_per_decade))

    def depth_for(self, mttf_hours: float) -> float:
        """The deepest depth whose MTTF is at least this."""
        return self.mttf_one_hour_depth - self.depth_per_decade * math.log10(mttf_hours)


@dataclass(frozen=True, slots=True)
class Part:
    """One heated part: what it draws and how it warms. Lumped capacitance, one time constant."""

    stock_volts: float
    stock_mhz: float
    load_watts: float
    idle_watts: float
    celsius_per_watt: float
    time_constant_seconds: float


PARTS: Final[Mapping[str, Part]] = {
    "cpu": Part(1.10, 3800.0, 55.0, 7.0, 1.05, 70.0),
    "gpu": Part(0.95, 1900.0, 90.0, 9.0, 0.52, 110.0),
}
STATIC_SHARE: Final = 0.2


class VirtualMachine:
    """Satisfies the guide's `Machine`. ``edges``: the true edge of each searched knob by name.

    A crash raises MachineDown from `sleep`; `restart` brings the machine back at stock under another boot identity.
    """

    source = "virtual"

    def __init__(
        self,
        unit: Unit,
        edges: Mapping[str, Edge],
        seed: int,
        *,
        room_celsius: float = 21.0,
        start: datetime = FIRST_MOMENT,
    ) -> None:
        leaders = {knob.name for knob in unit.leaders()}
        if set(edges) != leaders:
            raise BadInput(f"edges are needed for {', '.join(sorted(leaders))}.", where="virtual machine")
        self.unit = unit
        self.edges = dict(edges)
        self.setting = Setting()
        self.room_celsius = room_celsius
        self._rng = np.random.default_rng([seed, 7])
        self._start = start
        self._seconds = 0.0
        self._boots = 1
        self._seed = seed
        self._running: VirtualSession | None = None
        self._celsius = dict.fromkeys(PARTS, room_celsius + 12.0)

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

    def sleep(self, seconds: float) -> None:
        """Let virtual time pass. Raises MachineDown when a crash falls into it."""
        end = self._seconds + seconds
        running = self._running
        if running is not None and running.crashes_at is not None and running.crashes_at <= end:
            self._warm(running.crashes_at - self._seconds)
            self._seconds = running.crashes_at
            self._running = None
            raise MachineDown(f"virtual machine down at {self.setting.describe(self.unit)}")
        self._warm(seconds)
        self._seconds = end

    def restart(self) -> None:
        """After a crash: at stock, cooler, another boot."""
        self._running = None
        self.setting = Setting()
        self._warm(REBOOT_SECONDS)
        self._seconds += REBOOT_SECONDS
        self._boots += 1

    def sample(self) -> dict[str, float]:
        """Temperatures in whole degrees, clocks, powers, and the fan."""
        found: dict[str, float] = {"room.temperature": self.room_celsius}
        for name, part in PARTS.items():
            found[f"{name}.temperature"] = round(self._celsius[name] + float(self._rng.normal(0, 0.3)))
            found[f"{name}.power"] = round(self._watts(name) * (1 + float(self._rng.normal(0, 0.01))), 1)
            found[f"{name}.clock"] = round(self._mhz(name) if self._loaded(name) else part.stock_mhz * 0.3)
            found[f"{name}.voltage"] = round(self._volts(name), 3)
        hottest = max(self._celsius.values())
        found["fan.fan"] = round(1500 + max(0.0, hottest - 45) * 60)
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
            return unit.knob(knob).load or unit.knob(knob).domain
        domains = {one.domain for one in unit.knobs}
        whole = [card.name for card in unit.loads if domains <= set(card.exercises)]
        return whole[0] if whole else EVERYTHING

    def hands(self, unit: Unit, prompt: Callable[[str, str], str] | None) -> VirtualHands:
        """Hands that apply at once."""
        return VirtualHands(self)

    def faults_since(self, moment: datetime) -> Sequence[tuple[Outcome, str]]:
        """A virtual machine logs nothing."""
        return ()

    def draw_failure(self) -> tuple[float, Knob] | None:
        """When and by which knob the load that starts now will fail: exponential, hazards add (competing risks)."""
        hazards = {
            knob.name: self.edges[knob.name].hazard_per_hour(knob.depth_of(self.setting.value(knob.name)))
            for knob in self.unit.leaders()
            if self.setting.value(knob.name)
        }
        total = sum(hazards.values())
        if total <= 0:
            return None
        hours = float(self._rng.exponential(1 / total))
        names = list(hazards)
        cause = names[int(self._rng.choice(len(names), p=np.array([hazards[name] for name in names]) / total))]
        return self._seconds + hours * 3600, self.unit.knob(cause)

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

    def exercised_by(self, load: str) -> tuple[str, ...]:
        """The domains that a load bears on: its card's word, every part for the one that runs all, else its name."""
        for card in self.unit.loads:
            if card.name == load and card.exercises:
                return card.exercises
        return tuple(PARTS) if load == EVERYTHING else (load,)

    def _loaded(self, domain: str) -> bool:
        return self._running is not None and domain in self.exercised_by(self._running.name)

    def _offset(self, domain: str, voltage: bool) -> float:
        values = [
            self.setting.value(knob.name)
            for knob in self.unit.leaders()
            if knob.domain == domain and (knob.is_voltage if voltage else knob.is_clock)
        ]
        return values[0] if values else 0.0

    def _volts(self, domain: str) -> float:
        return PARTS[domain].stock_volts + self._offset(domain, voltage=True) / 1000

    def _mhz(self, domain: str) -> float:
        return PARTS[domain].stock_mhz + self._offset(domain, voltage=False)

    def _watts(self, domain: str) -> float:
        """Static share plus V squared times f (dynamic power, Weste and Harris, CMOS VLSI Design, from memory)."""
        part = PARTS[domain]
        if not self._loaded(domain):
            return part.idle_watts
        scale = (self._volts(domain) / part.stock_volts) ** 2 * self._mhz(domain) / part.stock_mhz
        return part.load_watts * (STATIC_SHARE + (1 - STATIC_SHARE) * scale)

    def _warm(self, seconds: float) -> None:
        for name, part in PARTS.items():
            final = self.room_celsius + part.celsius_per_watt * self._watts(name)
            share = math.exp(-seconds / part.time_constant_seconds)
            self._celsius[name] = final + (self._celsius[name] - final) * share


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
        return VirtualSession(self.name, self._machine)


class VirtualSession:
    """A virtual load under way. ``crashes_at``: the virtual second at which the machine will go down, or None."""

    def __init__(self, name: str, machine: VirtualMachine) -> None:
        self.name = name
        self._machine = machine
        self._began = machine.seconds()
        self.crashes_at: float | None = None
        self._wrong_at: float | None = None
        self._cause: Knob | None = None
        if failure := machine.draw_failure():
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
                {"processor": int(self._wrong_at) % 8, "kernel": "product"},
            )
        return LoadState("running", progress, "working")

    def stop(self) -> LoadState:
        """End it."""
        last = self.poll()
        self._machine.end(self)
        if last.state == "failed":
            return last
        return LoadState("stopped", last.progress, "stopped", None, f"{last.progress:,} results checked, none wrong")
