"""Heat: thermal resistance of each source, coupling over a shared heatsink, temperatures at another room."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats, Trace
from surefoot.thermal.channels import DOMAINS, sample_weights, weighted_mean, whole
from surefoot.thermal.fan import fan_series
from surefoot.thermal.least_squares import non_negative
from surefoot.thermal.steady import SteadyState, forecast_final

# How well what is read is known, one standard deviation, where the caller does not say (our judgement, no source).
SPREAD_CELSIUS = 0.5
SPREAD_REFERENCE = 0.5
SPREAD_WATTS_SHARE = 0.03

_Z95 = 1.959964
_DRAWS = 2000


@dataclass(frozen=True)
class Resistance:
    """Thermal resistance from a source to the reference (the room), in kelvin per watt, with its 95 % interval.

    ``celsius``, ``reference_celsius``, ``watts``: what it was formed from; ``settled``: whether the temperature had
    reached its end, which the definition asks for, or was forecast; ``coupled``: it is the part's own entry of the
    coupling with another source on the same heatsink.
    """

    kelvin_per_watt: float
    low: float
    high: float
    celsius: float
    reference_celsius: float
    watts: float
    settled: bool = True
    coupled: bool = False

    @property
    def sentence(self) -> str:
        """In words."""
        how = "" if self.settled else ", end temperature forecast"
        if self.coupled:
            return (
                f"{self.kelvin_per_watt:.2f} K/W (95 %: {self.low:.2f} to {self.high:.2f}) of its own, what the other "
                "source adds taken off"
            )
        return (
            f"{self.kelvin_per_watt:.2f} K/W (95 %: {self.low:.2f} to {self.high:.2f}): {self.celsius:.1f} °C at "
            f"{self.watts:.1f} W over {self.reference_celsius:.1f} °C{how}"
        )


def resistance(
    celsius: float | SteadyState,
    reference_celsius: float,
    watts: float,
    *,
    spread_celsius: float | None = None,
    spread_reference: float = SPREAD_REFERENCE,
    spread_watts_share: float = SPREAD_WATTS_SHARE,
) -> Resistance:
    """(T - T_reference) / P after steady state, K/W. Source: JEDEC JESD51-1, from memory.

    ``celsius``: the settled temperature, or a steady state whose final value and interval are used; ``watts``: the mean
    power then; ``spread_*``: one standard deviation of each (share of the power). The interval is by first-order
    propagation. Other sources on the same heatsink are not told apart here: see `coupling`.

    Raises BadInput when power is not positive, a value is not finite, or the source is not above the reference.
    """
    settled = True
    if isinstance(celsius, SteadyState):
        if not celsius.known:
            raise BadInput(f"the end temperature is not known: {celsius.reason}.", where="thermal resistance")
        settled = celsius.reached
        if spread_celsius is None:
            spread_celsius = math.hypot(celsius.half_width / _Z95, SPREAD_CELSIUS)
        celsius = celsius.final_celsius
    spread = SPREAD_CELSIUS if spread_celsius is None else spread_celsius
    if not all(math.isfinite(value) for value in (celsius, reference_celsius, watts, spread)):
        raise BadInput("temperature, reference and power must be finite numbers.", where="thermal resistance")
    if watts <= 0:
        raise BadInput(
            f"power is {watts:g} W; a resistance needs a source that draws power.", where="thermal resistance"
        )
    rise = celsius - reference_celsius
    if rise <= 0:
        raise BadInput(
            f"the source at {celsius:.1f} °C is not above the reference at {reference_celsius:.1f} °C.",
            where="thermal resistance",
            remedy="Check the room temperature: it must be that of the air drawn in during the run.",
        )
    value = rise / watts
    relative = math.hypot(math.hypot(spread, spread_reference) / rise, spread_watts_share)
    half = _Z95 * relative * value
    return Resistance(value, max(value - half, 0.0), value + half, celsius, reference_celsius, watts, settled)


@dataclass(frozen=True)
class HeatPoint:
    """Settled temperatures of the sources at their powers, over a reference.

    ``celsius`` and ``watts``: by domain; ``reference_celsius``: the room, None when not measured;
    ``spread_celsius``: one standard deviation by domain; ``from_minutes``, ``to_minutes``: where in a trace;
    ``fan_rpm``: mean speed of the fans at its end, None where not measured.
    """

    celsius: Mapping[str, float]
    watts: Mapping[str, float]
    reference_celsius: float | None = None
    spread_celsius: Mapping[str, float] = field(default_factory=dict)
    from_minutes: float = 0.0
    to_minutes: float = 0.0
    settled: bool = True
    fan_rpm: float | None = None


@dataclass(frozen=True)
class Change:
    """A change of a temperature in degrees with its 95 % interval."""

    celsius: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Coupling:
    """The coupling matrix of sources on a shared heatsink: T_i - T_reference = sum over j of R_ij P_j, K/W.

    ``sources``: names in the order of the matrices; ``matrix``, ``low``, ``high``: shape (k, k), 95 % interval; row:
    the source that is warmed, column: the one that draws power; ``reference_celsius``: None when each point had its
    own, else the common reference that was fitted; ``residual_celsius``: root mean square of what is left, NaN when
    there are as many points as unknowns; ``draws``: shape (n, k, k), the spread behind the intervals.
    """

    sources: tuple[str, ...]
    matrix: Floats
    low: Floats
    high: Floats
    reference_celsius: float | None
    residual_celsius: float
    points: int
    assumption: str
    draws: Floats = field(repr=False)

    def what_if(self, changes_watts: Mapping[str, float]) -> dict[str, Change]:
        """The change of each source's temperature when powers change by so many W, at the same cooling.

        Raises BadInput for a source that is not in the matrix.
        """
        unknown = sorted(set(changes_watts) - set(self.sources))
        if unknown:
            raise BadInput(
                f"there is no source {unknown[0]!r}.", where="coupling", remedy=f"Sources: {', '.join(self.sources)}."
            )
        change = np.array([float(changes_watts.get(name, 0.0)) for name in self.sources])
        if not np.isfinite(change).all():
            raise BadInput("a change of power must be a finite number of watts.", where="coupling")
        middle = self.matrix @ change
        low, high = np.percentile(self.draws @ change, (2.5, 97.5), axis=0)
        return {
            name: Change(float(middle[place]), float(low[place]), float(high[place]))
            for place, name in enumerate(self.sources)
        }

    def temperatures(self, watts: Mapping[str, float], reference_celsius: float) -> dict[str, float]:
        """The settled temperature of each source at given powers and reference, Celsius."""
        power = np.array([float(watts.get(name, 0.0)) for name in self.sources])
        rise = self.matrix @ power
        return {name: reference_celsius + float(rise[place]) for place, name in enumerate(self.sources)}


def coupling(points: Sequence[HeatPoint], sources: Sequence[str] = DOMAINS) -> Coupling:
    """The coupling matrix by non-negative least squares from points loaded in turn and together.

    At least as many points as sources, with powers that are not proportional to each other; one more where no
    reference was measured, which is then fitted as one unknown common to all. Heat only flows from warm to cold: no
    entry is negative. Intervals: the fit repeated with temperatures, reference and powers redrawn from their spread
    (that of the residual where it is greater).

    Raises BadInput when there are too few points, or they do not tell the sources apart.
    """
    names = tuple(sources)
    k = len(names)
    usable = [point for point in points if all(name in point.celsius and name in point.watts for name in names)]
    measured = all(point.reference_celsius is not None for point in usable)
    unknowns = k if measured else k + 1
    if len(usable) < unknowns:
        raise BadInput(
            f"{len(usable)} settled points are too few for {k} sources"
            + ("." if measured else " and a reference that was not measured."),
            where="coupling",
            remedy="Load each source in turn, then all together, each until its temperature settles"
            + ("." if measured else "; and measure the room."),
        )
    watts = np.array([[float(point.watts[name]) for name in names] for point in usable])
    celsius = np.array([[float(point.celsius[name]) for name in names] for point in usable])
    spread = np.array([[float(point.spread_celsius.get(name, SPREAD_CELSIUS)) for name in names] for point in usable])
    reference = np.array([point.reference_celsius or 0.0 for point in usable]) if measured else np.zeros(len(usable))
    if not (np.isfinite(watts).all() and np.isfinite(celsius).all() and (watts >= 0).all()):
        raise BadInput("temperatures must be finite and powers at least 0 W.", where="coupling")
    design = watts if measured else np.hstack([watts, np.full((len(usable), 1), 10.0)])
    scale = np.maximum(np.abs(design).max(axis=0), 1e-9)
    if np.linalg.cond(design / scale) > 40.0:
        raise BadInput(
            "the powers of the points rise and fall together: what each source does cannot be told apart.",
            where="coupling",
            remedy="Load each source alone for one of the points.",
        )
    rises = (celsius - reference[:, None]).T  # shape (k, points)
    weight = 1.0 / np.maximum(spread, 0.05).T
    breeze, fans_say = _breeze(usable, watts)
    rows = [_cooled(design, breeze, i, k) for i in range(k)]
    solved = np.stack([non_negative(rows[i] * weight[i][:, None], (rises[i] * weight[i])[None])[0] for i in range(k)])
    left = rises - np.stack([rows[i] @ solved[i] for i in range(k)])
    freedom = len(usable) - unknowns
    residual = float(np.sqrt((left**2).sum() / (k * freedom))) if freedom > 0 else math.nan
    draws = _redrawn(design, rises, weight, spread, k, residual if freedom > 0 else 0.0, measured, breeze)
    low, high = np.percentile(draws, (2.5, 97.5), axis=0)
    assumption = (
        (fans_say or "the same cooling (fan, position, dust) at every point")
        + "; "
        + ("each point over its own room temperature" if measured else "one room temperature for all, fitted")
    )
    return Coupling(
        sources=names,
        matrix=solved[:, :k],
        low=np.minimum(low, solved[:, :k]),
        high=np.maximum(high, solved[:, :k]),
        reference_celsius=None if measured else float(solved[:, k].mean() * 10.0),
        residual_celsius=residual,
        points=len(usable),
        assumption=assumption,
        draws=draws,
    )


# A heatsink's resistance to the air falls with the fan's speed to some power; what a source has before the heatsink
# does not (turbulent and laminar flow: 0.8 and 0.5; common practice, no source).
_FAN_POWER, _BEFORE_SINK = (0.35, 0.85), (0.15, 0.75)
_SAME_FAN = 0.05


def _breeze(points: Sequence[HeatPoint], watts: Floats) -> tuple[Floats, str]:
    """Fan speed of every point over that of the most loaded one, shape (points,), and how they differ in words."""
    speeds = [point.fan_rpm for point in points]
    known = np.array([speed for speed in speeds if speed is not None and speed > 0])
    if known.size < len(speeds) or float(known.max() / known.min()) < 1.0 + _SAME_FAN:
        return np.ones(len(points)), ""
    reference = float(known[int(watts.sum(axis=1).argmax())])
    words = (
        f"the fans turned at {known.min():.0f} to {known.max():.0f} rpm at the points, so that cooling differed: "
        f"values are for {reference:.0f} rpm"
    )
    return known / reference, words


def _cooled(
    design: Floats, breeze: Floats, row: int, k: int, power: Floats | float = 0.6, before: Floats | float = 0.45
) -> Floats:
    """The design of one row, as if every point had been cooled alike; shape of ``design``, or (draws, ...) of it."""
    factor = breeze ** -np.asarray(power)[..., None]
    own = np.asarray(before)[..., None] * (1.0 - factor) + factor
    shape = np.broadcast_shapes(design.shape, (*factor.shape, 1))
    made = np.array(np.broadcast_to(design, shape))
    for column in range(k):
        made[..., column] *= own if column == row else factor
    return made


def _redrawn(
    design: Floats,
    rises: Floats,
    weight: Floats,
    spread: Floats,
    k: int,
    residual: float,
    measured: bool,
    breeze: Floats,
) -> Floats:
    """The fit repeated on redrawn points, shape (draws, k, k). Seeded: the same points give the same interval."""
    random = np.random.default_rng(20)
    points = rises.shape[1]
    own = np.maximum(spread.T, residual)
    noise = random.normal(size=(_DRAWS, k, points)) * own[None]
    if measured:
        noise += random.normal(size=(_DRAWS, 1, points)) * SPREAD_REFERENCE
    # A power sensor is off by one factor for all points of a source; a little of it differs by point.
    factor = 1.0 + SPREAD_WATTS_SHARE * random.normal(size=(_DRAWS, 1, k))
    factor = factor * (1.0 + 0.01 * random.normal(size=(_DRAWS, points, k)))
    designs = np.repeat(design[None], _DRAWS, axis=0)
    designs[:, :, :k] *= factor
    found = np.empty((_DRAWS, k, k))
    power, before = random.uniform(*_FAN_POWER, size=_DRAWS), random.uniform(*_BEFORE_SINK, size=_DRAWS)
    for i in range(k):
        weighted = _cooled(designs, breeze, i, k, power, before) * weight[i][None, :, None]
        found[:, i, :] = non_negative(weighted, (rises[i][None] + noise[:, i, :]) * weight[i][None])[:, :k]
    return found


@dataclass(frozen=True)
class Referred:
    """A temperature re-referred to another room.

    ``celsius``: the answer, ``low`` to ``high`` what it may be (about 95 %); ``moved``: False when it may not be
    moved (held at a ceiling: the clock moves instead); ``assumption``: what was taken for granted, in words.
    """

    celsius: float
    moved: bool
    assumption: str
    low: float = math.nan
    high: float = math.nan


# What a degree of the room does beside the degree itself (common practice, no source): a fan that follows takes some
# of it back, and leakage that grows with temperature adds power and so more degrees.
_FAN_TAKES_BACK = 0.25
_LEAK_SHARE, _LEAK_PER_KELVIN = 0.32, 0.020  # the most of each


def refer_to_room(
    celsius: float,
    measured_room: float,
    room: float,
    *,
    ceiling_celsius: float | None = None,
    thermally_limited: bool = False,
    power_held: bool = False,
) -> Referred:
    """A settled temperature measured in one room, as it would be in another: T + (room - measured room).

    Follows from R = (T - T_room) / P at constant power and cooling (JEDEC JESD51-1, from memory). A temperature that
    the part was held at (``thermally_limited``) cannot be re-referred: in another room it would sit at the same
    ceiling and the clock would move. ``power_held``: a power limit kept the power, so that leakage cannot add any.
    One that would come within 1 degree of ``ceiling_celsius`` stops there.

    Raises BadInput for a value that is not finite.
    """
    for value in (celsius, measured_room, room):
        if not math.isfinite(value):
            raise BadInput("temperatures must be finite numbers.", where="re-referring to a room")
    if thermally_limited:
        return Referred(
            celsius,
            False,
            "it was held at its temperature ceiling: in another room it stays there and the clock moves instead",
            celsius - SPREAD_CELSIUS,
            celsius + SPREAD_CELSIUS,
        )
    shift = room - measured_room
    rise = max(celsius - measured_room, 0.0)
    # dP/P per kelvin is the leaking share times its growth; each kelvin of rise then feeds back (a geometric series).
    fed_back = 0.0 if power_held else min(rise * _LEAK_SHARE * _LEAK_PER_KELVIN, 0.5)
    most = shift * (1.0 + fed_back / (1.0 - fed_back))
    least = shift * (1.0 - _FAN_TAKES_BACK)
    around = _Z95 * math.hypot(SPREAD_CELSIUS, SPREAD_REFERENCE)
    low, high = celsius + min(least, most) - around, celsius + max(least, most) + around
    moved = celsius + (room - measured_room)
    if ceiling_celsius is not None and moved > ceiling_celsius:
        return Referred(
            ceiling_celsius,
            True,
            f"it would pass its ceiling of {ceiling_celsius:g} °C: it stops there and the clock falls instead",
            min(low, ceiling_celsius),
            min(high, ceiling_celsius),
        )
    words = "the same power and the same cooling (fan speed, airflow) in both rooms; the interval allows for leakage"
    return Referred(moved, True, f"{words} and for a fan that follows", low, high)


def room_celsius(trace: Trace, room: float | None = None) -> float | None:
    """The room temperature of a trace: the median of its room channel, else the one given, else None."""
    measured = whole(trace, "room", "temperature")
    if measured is not None:
        return float(np.nanmedian(measured))
    return room


def heat_point(trace: Trace, room: float | None = None, *, one_load: bool = False) -> HeatPoint:
    """Where the temperatures of a trace end, at the mean power of its last stretch, as one point.

    A domain without temperature or power, or whose end is not known to 5 degrees, is left out. ``one_load``: the load
    is known to be the same throughout.
    """
    celsius: dict[str, float] = {}
    watts: dict[str, float] = {}
    spread: dict[str, float] = {}
    settled = True
    for domain in DOMAINS:
        power = whole(trace, domain, "power")
        temperature = whole(trace, domain, "temperature")
        if power is None or temperature is None:
            continue
        state = forecast_final(trace.seconds, temperature, fan_series(trace), one_load=one_load)
        mean = last_stretch_mean(trace, power, state)
        if not state.known or state.half_width > 5.0 or not math.isfinite(mean):
            continue
        celsius[domain] = state.final_celsius
        watts[domain] = max(mean, 0.0)
        spread[domain] = math.hypot(state.half_width / _Z95, SPREAD_CELSIUS)
        settled = settled and state.reached
    start = float(trace.seconds[0]) / 60.0 if len(trace) else 0.0
    end = float(trace.seconds[-1]) / 60.0 if len(trace) else 0.0
    fan = fan_series(trace)
    speed = None if fan is None else float(np.nanmean(fan[-max(1, fan.size // 8) :]))
    return HeatPoint(celsius, watts, room_celsius(trace, room), spread, start, end, settled, speed)


def last_stretch_mean(trace: Trace, values: Floats, state: SteadyState) -> float:
    """The mean of a channel over the last third of the stretch that a steady state was fitted to."""
    if len(trace) == 0:
        return math.nan
    start = float(trace.seconds[0]) + state.fitted_from_minutes * 60.0
    end = float(trace.seconds[-1])
    keep = trace.seconds >= end - (end - start) / 3
    return weighted_mean(values[keep], sample_weights(trace.seconds[keep]))
