"""What if: power, temperature and clock at another offset, power limit, room temperature or cooling.

P = P_other + P_static(V, T) + a V^2 f. The last term is dynamic power at constant activity (Weste and Harris, CMOS VLSI
Design, from memory); static power grows with voltage and exponentially with temperature; a share of the package
(memory controller, input and output) does not see the offset at all. T = T_room + R (P + what the other source adds).
Power warms, warmth leaks, a limiter gives the clock away: the point where all agree is solved for. What is not measured
is drawn from a stated prior (`Assumptions`), and the interval is what the draws give: 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.thermal.operating import OperatingPoint

_DRAWS = 1500


@dataclass(frozen=True)
class Assumptions:
    """What is taken for granted where it is not measured (common practice, no source). Pairs are ranges or mean, sd.

    ``volts``: mean and standard deviation of the core voltage under load; ``volts_per_ghz``: range of the slope of the
    voltage-clock curve; ``static_share``: mean and sd of leakage in the power that sees the offset; ``aside_share``:
    range of the package's power that does not see it; ``leak_per_kelvin``: mean and sd; ``leak_volt_power``: range of
    the exponent; ``fan_share``: range of how much of a temperature change is left after the fan has answered it;
    ``neighbour_share``: range of how much a watt of the other source warms this one beside its own; ``room``: mean and
    sd; ``repeat_*``: one standard deviation from run to run.
    """

    volts: tuple[float, float]
    volts_per_ghz: tuple[float, float]
    aside_share: tuple[float, float]
    usual_mhz: float
    static_share: tuple[float, float] = (0.20, 0.06)
    leak_per_kelvin: tuple[float, float] = (0.012, 0.004)
    leak_volt_power: tuple[float, float] = (2.0, 3.5)
    fan_share: tuple[float, float] = (0.6, 1.0)
    neighbour_share: tuple[float, float] = (0.3, 0.8)
    room: tuple[float, float] = (22.0, 3.0)
    repeat_watts_share: float = 0.015
    repeat_celsius: float = 1.0
    repeat_clock_share: float = 0.006


ASSUMED: Mapping[str, Assumptions] = {
    "cpu": Assumptions(volts=(1.05, 0.08), volts_per_ghz=(0.10, 0.60), aside_share=(0.05, 0.25), usual_mhz=3600.0),
    "gpu": Assumptions(volts=(0.85, 0.07), volts_per_ghz=(0.20, 0.90), aside_share=(0.15, 0.35), usual_mhz=1700.0),
}
"""The assumptions by domain; a domain not named takes those of the CPU."""


@dataclass(frozen=True)
class What:
    """What would be changed. Offsets are changes from the point as measured; None: left as it is.

    ``cooling_factor``: multiplies the thermal resistance (0.9: a tenth less); ``offset_mhz``: the voltage-clock curve
    moved along the clock.
    """

    offset_mv: float = 0.0
    offset_mhz: float = 0.0
    power_limit_watts: float | None = None
    room_celsius: float | None = None
    cooling_factor: float = 1.0

    def __post_init__(self) -> None:
        where = "what if"
        numbers = (self.offset_mv, self.offset_mhz, self.cooling_factor)
        if not all(math.isfinite(value) for value in numbers):
            raise BadInput("offsets and the cooling factor must be finite numbers.", where=where)
        if not -400.0 <= self.offset_mv <= 400.0:
            raise BadInput(f"a change of {self.offset_mv:+g} mV is out of all reason.", where=where)
        if not 0.2 <= self.cooling_factor <= 5.0:
            raise BadInput(f"a cooling factor of {self.cooling_factor:g} is not between 0.2 and 5.", where=where)
        if self.power_limit_watts is not None and not 1.0 <= self.power_limit_watts <= 2000.0:
            raise BadInput(f"a power limit of {self.power_limit_watts:g} W is not between 1 and 2000.", where=where)
        if self.room_celsius is not None and not -30.0 <= self.room_celsius <= 60.0:
            raise BadInput(f"a room of {self.room_celsius:g} °C is not between -30 and 60.", where=where)

    def describe(self) -> str:
        """In words: ``-80 mV, power limit 71 W``."""
        said = []
        if self.offset_mv:
            said.append(f"{self.offset_mv:+g} mV")
        if self.offset_mhz:
            said.append(f"{self.offset_mhz:+g} MHz")
        if self.power_limit_watts is not None:
            said.append(f"power limit {self.power_limit_watts:g} W")
        if self.room_celsius is not None:
            said.append(f"room {self.room_celsius:g} °C")
        if self.cooling_factor != 1.0:
            said.append(f"thermal resistance times {self.cooling_factor:g}")
        return ", ".join(said) or "no change"


@dataclass(frozen=True)
class Estimate:
    """A value with its 95 % interval, and what it was before."""

    value: float
    low: float
    high: float
    before: float

    @property
    def change(self) -> float:
        """The value less what it was before."""
        return self.value - self.before

    def holds(self, measured: float) -> bool:
        """Whether a measured value lies inside the interval."""
        return self.low <= measured <= self.high


@dataclass(frozen=True)
class Forecast:
    """What is to be expected after a change.

    ``watts``, ``celsius``, ``clock_mhz`` (None when the clock was not measured): estimates at 95 %; ``limiters``: label
    to the share of the draws in which it holds the clock; ``volts``: under load before the change, with ``volts_from``
    ``measured`` or ``assumed``; ``assumptions``: in words.
    """

    domain: str
    what: What
    watts: Estimate
    celsius: Estimate
    clock_mhz: Estimate | None
    limiters: dict[str, float]
    volts: float
    volts_from: str
    room_celsius: float
    assumptions: tuple[str, ...] = field(default=())

    @property
    def limiter(self) -> str:
        """The label that most likely holds the clock after the change."""
        return max(self.limiters, key=lambda name: self.limiters[name])

    @property
    def sentence(self) -> str:
        """In words."""
        parts = [
            f"power {self.watts.value:.0f} W ({self.watts.low:.0f} to {self.watts.high:.0f})",
            f"temperature {self.celsius.value:.0f} °C ({self.celsius.low:.0f} to {self.celsius.high:.0f})",
        ]
        if self.clock_mhz is not None:
            clock = self.clock_mhz
            parts.append(f"clock {clock.value:.0f} MHz ({clock.low:.0f} to {clock.high:.0f})")
        return f"{self.domain.upper()} with {self.what.describe()}: " + ", ".join(parts) + "."

    def as_record(self) -> dict[str, Any]:
        """In JSON's own types, for the journal."""
        record = asdict(self)
        record["assumptions"] = list(self.assumptions)
        return record

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Forecast:
        """From `as_record`. Raises BadInput for a record that is not one."""
        try:
            clock = record["clock_mhz"]
            return cls(
                domain=str(record["domain"]),
                what=What(**record["what"]),
                watts=Estimate(**record["watts"]),
                celsius=Estimate(**record["celsius"]),
                clock_mhz=None if clock is None else Estimate(**clock),
                limiters={str(name): float(share) for name, share in record["limiters"].items()},
                volts=float(record["volts"]),
                volts_from=str(record["volts_from"]),
                room_celsius=float(record["room_celsius"]),
                assumptions=tuple(str(text) for text in record.get("assumptions", ())),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise BadInput(f"this is not a forecast: {error}.", where="forecast") from None


def what_if(point: OperatingPoint, what: What, assumed: Assumptions | None = None) -> Forecast:
    """Power, temperature and clock at another offset, power limit, room or cooling, with 95 % intervals.

    ``point``: as measured, see `operating.operating_point`. The same point and change give the same forecast. Sources:
    see the module. Raises BadInput when the change leaves no voltage to run at.
    """
    prior = assumed or ASSUMED.get(point.domain, ASSUMED["cpu"])
    drawn = _Drawn.of(point, prior)
    if float(np.median(drawn.volts)) + what.offset_mv / 1000.0 < 0.3:
        raise BadInput(
            f"{what.offset_mv:+g} mV leaves less than 0.3 V of {float(np.median(drawn.volts)):.2f} V.",
            where=f"forecast of {point.domain}",
        )
    solved = _solve(point, what, drawn)
    random = np.random.default_rng(7)

    def repeated(values: Floats, spread: Floats | float) -> Floats:
        """As a second run would measure them: runs differ even when nothing was changed."""
        return values + spread * random.normal(size=_DRAWS)

    again = np.where(solved.binds == "thermal", 0.5, prior.repeat_celsius) * (prior.repeat_celsius > 0)
    watts = _estimate(solved.watts, repeated(solved.watts, prior.repeat_watts_share * solved.watts), point.watts)
    celsius = _estimate(solved.celsius, repeated(solved.celsius, again), point.celsius)
    clock = None
    if point.clock_mhz is not None:
        mhz = solved.share * point.clock_mhz
        clock = _estimate(mhz, repeated(mhz, prior.repeat_clock_share * mhz), point.clock_mhz)
    names, counts = np.unique(solved.binds, return_counts=True)
    return Forecast(
        domain=point.domain,
        what=what,
        watts=watts,
        celsius=celsius,
        clock_mhz=clock,
        limiters={str(name): float(count) / _DRAWS for name, count in zip(names, counts, strict=True)},
        volts=float(np.median(drawn.volts)),
        volts_from="assumed" if point.volts is None else "measured",
        room_celsius=float(what.room_celsius if what.room_celsius is not None else np.median(drawn.room)),
        assumptions=_assumptions(point, what, prior),
    )


def _estimate(draws: Floats, measured: Floats, before: float) -> Estimate:
    """The middle of the draws, with the interval of what would be measured."""
    low, high = np.percentile(measured, (2.5, 97.5))
    middle = float(np.median(draws))
    return Estimate(middle, min(float(low), middle), max(float(high), middle), before)


@dataclass(frozen=True)
class _Drawn:
    """One value a draw of everything that is not known exactly, each shape (draws,)."""

    volts: Floats
    slope: Floats
    aside: Floats
    static: Floats
    leak_kelvin: Floats
    leak_volt: Floats
    fan: Floats
    room: Floats
    celsius: Floats
    resistance: Floats
    neighbour_rise: Floats
    base_mhz: float

    @classmethod
    def of(cls, point: OperatingPoint, prior: Assumptions) -> _Drawn:
        random = np.random.default_rng(11)

        def normal(pair: tuple[float, float], low: float, high: float) -> Floats:
            return np.clip(pair[0] + pair[1] * random.normal(size=_DRAWS), low, high)

        def between(pair: tuple[float, float]) -> Floats:
            return random.uniform(pair[0], pair[1], size=_DRAWS)

        volts = normal(prior.volts if point.volts is None else (point.volts, 0.015), 0.5, 1.6)
        room = normal(prior.room if point.room_celsius is None else (point.room_celsius, 0.5), -40.0, 70.0)
        celsius = point.celsius + point.spread_celsius * random.normal(size=_DRAWS)
        room = np.minimum(room, celsius - 1.0)
        neighbour = between(prior.neighbour_share) * point.other_watts
        resistance = (celsius - room) / (point.watts + neighbour)
        return cls(
            volts=volts,
            slope=between(point.volts_per_ghz or prior.volts_per_ghz),
            aside=between(prior.aside_share),
            static=normal(prior.static_share, 0.0, 0.45),
            leak_kelvin=normal(prior.leak_per_kelvin, 0.0, 0.03),
            leak_volt=between(prior.leak_volt_power),
            fan=np.ones(_DRAWS) if point.fan_fixed else between(prior.fan_share),
            room=room,
            celsius=celsius,
            resistance=resistance,
            neighbour_rise=resistance * neighbour,
            base_mhz=point.clock_mhz or prior.usual_mhz,
        )


@dataclass(frozen=True)
class _Solution:
    share: Floats  # of the clock before
    watts: Floats
    celsius: Floats
    binds: np.ndarray[tuple[int], np.dtype[np.str_]]


def _solve(point: OperatingPoint, what: What, drawn: _Drawn) -> _Solution:
    """The highest clock that every limit allows, by bisection of all draws at once."""
    power_cap, ceiling, most = _limits(point, what, drawn)
    low = np.full(_DRAWS, 0.25)
    high = np.broadcast_to(np.minimum(most, 2.5), (_DRAWS,)).copy()
    watts, celsius = _settle(high, point, what, drawn)
    over = (watts > power_cap) | (celsius > ceiling)
    for _ in range(30):
        middle = (low + high) / 2
        watts, celsius = _settle(middle, point, what, drawn)
        fits = (watts <= power_cap) & (celsius <= ceiling)
        low = np.where(over & fits, middle, low)
        high = np.where(over & ~fits, middle, high)
    share = np.where(over, low, high)
    watts, celsius = _settle(share, point, what, drawn)
    by_power = over & (watts >= power_cap * 0.998)
    held = "free" if point.limiter in ("free", "thermal", "power") else point.limiter
    binds = np.where(by_power, "power", np.where(over, "thermal", held))
    return _Solution(share, watts, celsius, binds)


def _limits(point: OperatingPoint, what: What, drawn: _Drawn) -> tuple[Floats, Floats, Floats]:
    """Power cap in W, ceiling in Celsius and the highest share of the clock, by draw."""
    power = math.inf if point.power_limit_watts is None else max(point.power_limit_watts, point.watts)
    if point.limiter == "power":
        power = point.watts
    if what.power_limit_watts is not None:
        power = what.power_limit_watts
    ceiling = np.full(_DRAWS, math.inf if point.ceiling_celsius is None else point.ceiling_celsius)
    # A part that runs at or past the ceiling on the card is not held by that ceiling.
    ceiling = np.where(ceiling <= point.celsius, math.inf, ceiling)
    if point.limiter == "thermal":
        ceiling = drawn.celsius
    moved = what.offset_mhz / drawn.base_mhz
    if point.limiter in ("power", "thermal"):
        known = point.free_clock_mhz
        most = math.inf if known is None else max(known / drawn.base_mhz, 1.0) + moved
    else:
        # Free, or held by what is not known: the clock stays where it is unless a limit takes it down.
        most = 1.0 + moved
    return np.full(_DRAWS, power), ceiling, np.full(_DRAWS, most)


def _settle(share: Floats, point: OperatingPoint, what: What, drawn: _Drawn) -> tuple[Floats, Floats]:
    """Power and temperature at a share of the clock, each warming the other, until they agree."""
    ghz = drawn.base_mhz / 1000.0
    volts = drawn.volts + drawn.slope * ((share - 1.0) * ghz - what.offset_mhz / 1000.0) + what.offset_mv / 1000.0
    # Every curve ends in a lowest voltage: below it the clock falls and the voltage does not.
    ratio = np.maximum(volts, np.minimum(0.55, drawn.volts)) / drawn.volts
    room = drawn.room if what.room_celsius is None else np.full(_DRAWS, what.room_celsius)
    resistance = drawn.resistance * what.cooling_factor
    neighbour = drawn.neighbour_rise * what.cooling_factor
    seen = point.watts * (1.0 - drawn.aside)
    dynamic = seen * (1.0 - drawn.static) * ratio**2 * share
    static = seen * drawn.static * ratio**drawn.leak_volt
    celsius = drawn.celsius
    watts = np.full(_DRAWS, point.watts)
    for _ in range(12):
        warmer = np.clip(drawn.leak_kelvin * (celsius - drawn.celsius), -1.5, 1.0)
        watts = point.watts * drawn.aside + dynamic + static * np.exp(warmer)
        still = room + neighbour + resistance * watts
        celsius = drawn.celsius + drawn.fan * (still - drawn.celsius)
    return watts, celsius


def _assumptions(point: OperatingPoint, what: What, prior: Assumptions) -> tuple[str, ...]:
    said = []
    if point.volts is None:
        said.append(f"voltage under load not measured: {prior.volts[0]:g} ± {prior.volts[1]:g} V assumed")
    else:
        said.append(f"voltage under load measured: {point.volts:.3f} V")
    low, high = point.volts_per_ghz or prior.volts_per_ghz
    how = ", as the run shows" if point.volts_per_ghz else ""
    said.append(f"voltage rises by {low:.2f} to {high:.2f} V per GHz{how}")
    if point.limits_from == "trace":
        limits = [
            f"power limit {point.power_limit_watts:.1f} W" if point.power_limit_watts else "",
            f"throttle point {point.ceiling_celsius:.1f} °C" if point.limiter == "thermal" else "",
        ]
        said.append("as the run shows, not the card: " + ", ".join(text for text in limits if text))
    if point.limiter == "thermal":
        said.append("the part is at the point where it holds itself: what is gained goes into the clock")
    low, high = prior.aside_share
    said.append(
        f"{low:.0%} to {high:.0%} of the power does not see the offset; of the rest "
        f"{prior.static_share[0]:.0%} is leakage"
    )
    if point.room_celsius is None:
        said.append(f"room not measured: {prior.room[0]:g} ± {prior.room[1]:g} °C assumed")
    if point.fan_fixed:
        said.append("the fan kept its speed in the run and is taken to keep it")
    else:
        said.append(
            f"the fan follows the temperature and takes back up to {1 - prior.fan_share[0]:.0%} of a change of it"
        )
    if point.other_watts > 1.0:
        low, high = prior.neighbour_share
        said.append(
            f"the other source keeps its {point.other_watts:.0f} W; a watt of it counts as {low:g} to {high:g} W"
        )
    if point.limiter in ("power", "thermal"):
        if point.free_clock_mhz is None:
            said.append("the highest clock is not known: the forecast is not capped by it")
    elif point.limiter != "free":
        said.append("what holds the clock now is not known: it is taken to stay where it is")
    if what.power_limit_watts is not None and (point.power_limit_watts or math.inf) < what.power_limit_watts:
        said.append("the power limit asked about is above the one known; a firmware lock may not allow it")
    if not point.settled:
        said.append("the temperature had not settled: its forecast end is used")
    said.append("the same load, cooling state and activity")
    return tuple(said)


@dataclass(frozen=True)
class QuantityVerdict:
    """How good the forecast of one quantity was: ``error`` is measured less forecast, in ``unit``.

    ``naive_error``: the error of forecasting no change at all.
    """

    quantity: str
    unit: str
    forecast: float
    low: float
    high: float
    measured: float
    error: float
    inside: bool
    naive_error: float


@dataclass(frozen=True)
class ForecastVerdict:
    """How good a forecast was.

    ``good``: every quantity lies inside its interval; ``warnings``: why the two may not be comparable.
    """

    domain: str
    quantities: tuple[QuantityVerdict, ...]
    good: bool
    warnings: tuple[str, ...]
    sentence: str


def judge_forecast(forecast: Forecast, measured: OperatingPoint) -> ForecastVerdict:
    """Compare a forecast with what was measured after the change: errors, and whether inside the interval.

    A measured temperature is re-referred to the forecast's room where both rooms are known and it was not held at a
    ceiling. Raises BadInput when the two are of different domains.
    """
    if forecast.domain != measured.domain:
        raise BadInput(
            f"the forecast is of the {forecast.domain}, the measurement of the {measured.domain}.", where="judging"
        )
    warnings = []
    celsius = measured.celsius
    if measured.room_celsius is not None and abs(measured.room_celsius - forecast.room_celsius) > 0.5:
        if measured.limiter == "thermal":
            warnings.append("the rooms differ and the part was held at its ceiling: clocks are not comparable")
        else:
            shift = forecast.room_celsius - measured.room_celsius
            celsius += shift
            warnings.append(f"the temperature was re-referred to the forecast's room by {shift:+.1f} degrees")
    if not measured.settled:
        warnings.append("the temperature after the change had not settled: its forecast end is used")
    pairs = [("power", "W", forecast.watts, measured.watts), ("temperature", "°C", forecast.celsius, celsius)]
    if forecast.clock_mhz is not None and measured.clock_mhz is not None:
        pairs.append(("clock", "MHz", forecast.clock_mhz, measured.clock_mhz))
    verdicts = tuple(
        QuantityVerdict(
            name,
            unit,
            guess.value,
            guess.low,
            guess.high,
            seen,
            seen - guess.value,
            guess.holds(seen),
            seen - guess.before,
        )
        for name, unit, guess, seen in pairs
    )
    good = all(verdict.inside for verdict in verdicts)
    inside = sum(verdict.inside for verdict in verdicts)
    errors = ", ".join(f"{v.quantity} {round(v.error, 1) + 0.0:+.1f} {v.unit}" for v in verdicts)
    sentence = f"{inside} of {len(verdicts)} quantities inside the 95 % interval; measured less forecast: {errors}."
    return ForecastVerdict(forecast.domain, verdicts, good, tuple(warnings), sentence)
