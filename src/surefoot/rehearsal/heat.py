"""The virtual machine's heat: two chips with coolers of their own in one case, their clocks, limits and fans.

Every number is invented, for a machine that does not exist. The physics is the textbook's: dynamic power goes with V
squared times f (Weste and Harris, CMOS VLSI Design), heat flows through thermal resistances into capacitances.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

TICK_SECONDS: Final = 1.0
"""The longest step while a load runs: a chip follows its cooler within a few seconds."""
REST_TICK_SECONDS: Final = 3.0


@dataclass(frozen=True, slots=True)
class Chip:
    """One part that draws and warms.

    ``volts``: V = a + b GHz + c GHz squared. ``watts``: at one volt, one gigahertz and fully busy; ``leak``: W at one
    volt and 60 °C, doubling in 50 K; ``aside``: W that follows neither. ``throttle``: the temperature, Celsius, at
    which the firmware holds its clock back. ``joules_per_kelvin``: of the chip and of its cooler. ``to_cooler``: K/W.
    """

    top_mhz: float
    idle_mhz: float
    volts: tuple[float, float, float]
    watts: float
    leak: float
    aside: float
    idle_watts: float
    throttle: float
    joules_per_kelvin: tuple[float, float]
    to_cooler: float

    def volts_at(self, mhz: float, tuning: Tuning) -> float:
        """The voltage it runs at for a clock: a clock offset shifts the curve along, a voltage offset moves it down."""
        ghz = (mhz - tuning.offset_mhz) / 1000.0
        constant, slope, curve = self.volts
        return constant + ghz * (slope + curve * ghz) + tuning.offset_mv / 1000.0

    def power(self, mhz: float, tuning: Tuning, busy: float, celsius: float) -> float:
        """W at a clock."""
        volts = self.volts_at(mhz, tuning)
        leak = self.leak * volts * math.exp2((celsius - 60.0) / 50.0)
        return self.watts * busy * volts * volts * mhz / 1000.0 + leak + self.aside

    def clock_for(self, watts: float, tuning: Tuning, busy: float, celsius: float, near: float) -> float:
        """The clock at which it draws so many W, MHz, at most the top one; ``near``: a guess to begin from."""
        top = self.top_mhz + tuning.offset_mhz
        if self.power(top, tuning, busy, celsius) <= watts:
            return top
        mhz = near
        for _ in range(4):
            mhz = min(max(mhz * (watts / self.power(mhz, tuning, busy, celsius)) ** 0.45, self.idle_mhz), top)
        return mhz


@dataclass(frozen=True, slots=True)
class Tuning:
    """What the knobs of a chip are at: voltage offset in mV, clock offset in MHz, more or less power in W."""

    offset_mv: float = 0.0
    offset_mhz: float = 0.0
    more_watts: float = 0.0


@dataclass(frozen=True, slots=True)
class Mode:
    """A power mode: the power limit of each chip, W, and how hard the fans try: rpm, and rpm per degree of a cooler."""

    watts: Mapping[str, float]
    fan_base: float
    fan_slope: float
    fan_most: float


@dataclass(frozen=True, slots=True)
class Cooling:
    """Thermal resistances at the fans' full speed, K/W: each cooler to the air in the case, and that to the room."""

    to_air: Mapping[str, float]
    to_room: float


CHIPS: Final[Mapping[str, Chip]] = {
    "cpu": Chip(4600, 1150, (0.66, 0.030, 0.0215), 17.6, 3.1, 11.0, 14.0, 88.0, (17.0, 160.0), 0.23),
    "gpu": Chip(2460, 420, (0.58, 0.040, 0.0700), 60.0, 4.2, 17.0, 19.0, 81.0, (36.0, 330.0), 0.10),
}
MODES: Final[Mapping[str, Mode]] = {
    "workbench": Mode({"cpu": 118, "gpu": 164}, 620, 31, 1720),
    "counter": Mode({"cpu": 71, "gpu": 113}, 480, 21, 1260),
}
COOLINGS: Final[Mapping[str, Cooling]] = {
    "clogged with dust": Cooling({"cpu": 0.285, "gpu": 0.205}, 0.062),
    "dust blown out": Cooling({"cpu": 0.160, "gpu": 0.150}, 0.036),
}
USUAL_MODE: Final = "workbench"
USUAL_COOLING: Final = "dust blown out"
FULL_RPM: Final = 1720.0
AIR_JOULES_PER_KELVIN: Final = 900.0


@dataclass(slots=True)
class Body:
    """The machine's temperatures, clocks and powers now; ``step`` lets time pass.

    ``mode`` and ``cooling``: see `MODES` and `COOLINGS`; ``room``: Celsius. ``busy``: by chip, 0 to 1. ``held_by``: by
    chip, what holds its clock down: ``heat``, ``power`` or nothing.
    """

    room: float
    mode: Mode = field(default_factory=lambda: MODES[USUAL_MODE])
    cooling: Cooling = field(default_factory=lambda: COOLINGS[USUAL_COOLING])
    tuning: dict[str, Tuning] = field(default_factory=lambda: dict.fromkeys(CHIPS, Tuning()))
    busy: dict[str, float] = field(default_factory=lambda: dict.fromkeys(CHIPS, 0.0))
    chip: dict[str, float] = field(default_factory=dict)
    cooler: dict[str, float] = field(default_factory=dict)
    air: float = 0.0
    rpm: float = 0.0
    mhz: dict[str, float] = field(default_factory=dict)
    watts: dict[str, float] = field(default_factory=dict)
    held_by: dict[str, str] = field(default_factory=dict)
    _cap: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.air = self.room + 3.0
        self.rpm = self.mode.fan_base
        for name, one in CHIPS.items():
            self.cooler[name] = self.air + 6.0
            self.chip[name] = self.air + 9.0
            self.mhz[name], self.watts[name], self.held_by[name] = one.idle_mhz, one.idle_watts, ""
            self._cap[name] = one.top_mhz

    def pass_time(self, seconds: float) -> None:
        """Let time pass, in steps short enough for the chips."""
        longest = TICK_SECONDS if any(self.busy.values()) else REST_TICK_SECONDS
        while seconds > 1e-9:
            step = min(seconds, longest)
            self._step(step)
            seconds -= step

    def _step(self, seconds: float) -> None:
        for name, chip in CHIPS.items():
            self._clock(name, chip, seconds)
        wanted = self.mode.fan_base + self.mode.fan_slope * max(max(self.cooler.values()) - 36.0, 0.0)
        self.rpm += (min(wanted, self.mode.fan_most) - self.rpm) * -math.expm1(-seconds / 12.0)
        slower = (FULL_RPM / self.rpm) ** 0.55
        into_air = 0.0
        for name, chip in CHIPS.items():
            # Exact for one body at a time with its neighbours standing still, so that no step can swing.
            rest = self.cooler[name] + chip.to_cooler * self.watts[name]
            own, cooler = chip.joules_per_kelvin
            self.chip[name] = _toward(self.chip[name], rest, seconds, chip.to_cooler * own)
            to_air = self.cooling.to_air[name] * slower
            flow = (self.chip[name] - self.cooler[name]) / chip.to_cooler
            self.cooler[name] = _toward(self.cooler[name], self.air + to_air * flow, seconds, to_air * cooler)
            into_air += (self.cooler[name] - self.air) / to_air
        to_room = self.cooling.to_room * slower
        self.air = _toward(self.air, self.room + to_room * into_air, seconds, to_room * AIR_JOULES_PER_KELVIN)

    def _clock(self, name: str, chip: Chip, seconds: float) -> None:
        busy, tuning, celsius = self.busy[name], self.tuning[name], self.chip[name]
        top = chip.top_mhz + tuning.offset_mhz
        # The firmware's controller: the clock it allows falls while the chip is above its limit, and comes back below.
        allowed = self._cap[name] + 0.012 * chip.top_mhz * (chip.throttle - 0.6 - celsius) * seconds
        self._cap[name] = min(max(allowed, chip.idle_mhz), top)
        if busy <= 0:
            self.mhz[name], self.watts[name], self.held_by[name] = chip.idle_mhz, chip.idle_watts, ""
            return
        limit = self.mode.watts[name] + tuning.more_watts
        by_power = chip.clock_for(limit, tuning, busy, celsius, self.mhz[name])
        mhz = min(by_power, self._cap[name])
        self.mhz[name] = mhz
        self.watts[name] = chip.power(mhz, tuning, busy, celsius)
        self.held_by[name] = "heat" if mhz < by_power - 1.0 else "power" if mhz < top - 1.0 else ""


def _toward(now: float, rest: float, seconds: float, time_constant: float) -> float:
    """First-order lag toward where it would come to rest."""
    return rest + (now - rest) * math.exp(-seconds / time_constant)


def fan_sound(rpm: float) -> float:
    """Sound level of the fans alone, dB(A): about 50 decibels a decade of speed (fan laws, from memory)."""
    return 42.5 + 50.0 * math.log10(max(rpm, 300.0) / FULL_RPM)
