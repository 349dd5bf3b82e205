"""The operating point of a part: where power, temperature, clock and voltage stand at the end of a run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import DOMAINS, sample_weights, whole
from surefoot.thermal.fan import fan_series
from surefoot.thermal.heat import last_stretch_mean, room_celsius
from surefoot.thermal.labels import LABELS
from surefoot.thermal.limiter import LimiterReport, limiters
from surefoot.thermal.limits import Limits
from surefoot.thermal.steady import forecast_final


@dataclass(frozen=True)
class OperatingPoint:
    """Where a part stands under a steady load. None: not measured.

    ``celsius`` with ``spread_celsius``, one standard deviation; ``limiter``: the label that holds the clock there
    (`limiter.LABELS`); ``ceiling_celsius``, ``power_limit_watts``, ``free_clock_mhz``: limits that are known;
    ``volts_per_ghz``: range of the slope of the voltage-clock curve where the run shows it; ``limits_from``: ``card``
    or ``trace``, where the power limit and the ceiling come from; ``other_watts``: what the other source on the
    heatsink draws; ``fan_fixed``: the fan did not follow temperature.
    """

    domain: str
    watts: float
    celsius: float
    clock_mhz: float | None = None
    volts: float | None = None
    room_celsius: float | None = None
    limiter: str = "unknown"
    ceiling_celsius: float | None = None
    power_limit_watts: float | None = None
    free_clock_mhz: float | None = None
    other_watts: float = 0.0
    fan_fixed: bool = False
    spread_celsius: float = 0.5
    settled: bool = True
    volts_per_ghz: tuple[float, float] | None = None
    limits_from: str = "card"

    def __post_init__(self) -> None:
        where = f"operating point of {self.domain}"
        if not (math.isfinite(self.watts) and self.watts > 0):
            raise BadInput(f"power must be a positive number of watts, got {self.watts!r}.", where=where)
        if not math.isfinite(self.celsius):
            raise BadInput(f"the temperature must be a finite number, got {self.celsius!r}.", where=where)
        for name in ("clock_mhz", "volts"):
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise BadInput(f"{name} must be a positive number, got {value!r}.", where=where)
        if self.room_celsius is not None and self.room_celsius >= self.celsius:
            raise BadInput(
                f"the part at {self.celsius:.1f} °C is not above the room at {self.room_celsius:.1f} °C.",
                where=where,
                remedy="Correct the room temperature of the run.",
            )


def operating_point(
    trace: Trace,
    domain: str,
    limits: Limits | None = None,
    room: float | None = None,
    report: LimiterReport | None = None,
) -> OperatingPoint:
    """The operating point at the end of a trace: end temperature, mean power, clock and voltage of the last stretch.

    ``report``: of `limiters`, when at hand. Raises BadInput when power or temperature of the domain was not measured,
    or the trace is too short to say where it ends.
    """
    where = f"{domain} of the trace"
    power, temperature = whole(trace, domain, "power"), whole(trace, domain, "temperature")
    missing = [name for name, values in (("power", power), ("temperature", temperature)) if values is None]
    if power is None or temperature is None:
        raise BadInput(
            f"{' and '.join(missing)} of the {domain} were not measured.",
            where=where,
            remedy="A forecast needs both; see `surefoot check` for the sensors of this machine.",
        )
    state = forecast_final(trace.seconds, temperature, fan_series(trace))
    if not state.known or state.half_width > 8.0:
        raise BadInput(f"the end temperature is not known: {state.reason}.", where=where, remedy="Measure for longer.")
    known = limits or Limits()
    found = report or limiters(trace, known)[domain]
    start = float(trace.seconds[0]) + state.fitted_from_minutes * 60.0
    end = float(trace.seconds[-1])
    last = trace.seconds >= end - (end - start) / 3

    def mean(quantity: str, of: str = domain) -> float | None:
        values = whole(trace, of, quantity)
        value = math.nan if values is None else last_stretch_mean(trace, values, state)
        return value if math.isfinite(value) and value > 0 else None

    watts = mean("power")
    if watts is None:
        raise BadInput("its power was nothing at the end.", where=where, remedy="Measure under load.")
    clock = mean("clock")
    label = _main_of(found, last, sample_weights(trace.seconds))
    free = known.clock_limits_mhz.get(domain)
    if free is None and label == "free":
        free = clock
    held_power = next((one.value for one in found.found if one.kind == "power"), None)
    throttle = next((one.value for one in found.found if one.kind == "throttle point"), None)
    if free is None and label in ("power", "thermal") and found.share("free") > 0.01:
        # It ran free for a while in the same run: the clock of that is where it would come to rest.
        free = found.free_clock_mhz
    others = [mean("power", other) or 0.0 for other in DOMAINS if other != domain]
    celsius = state.final_celsius
    place = room_celsius(trace, room)
    return OperatingPoint(
        domain=domain,
        watts=watts,
        celsius=celsius,
        clock_mhz=clock,
        volts=_plausible_volts(mean("voltage")),
        room_celsius=place,
        limiter=label,
        ceiling_celsius=throttle or known.throttle_celsius.get(domain) or found.ceiling_celsius,
        power_limit_watts=held_power or found.power_limit_watts,
        free_clock_mhz=free,
        other_watts=sum(others),
        fan_fixed=_fan_is_fixed(trace),
        spread_celsius=max(state.half_width / 1.96, 0.3),
        settled=state.reached,
        volts_per_ghz=_slope(trace, domain),
        limits_from="trace" if held_power is not None or throttle is not None else "card",
    )


def _slope(trace: Trace, domain: str) -> tuple[float, float] | None:
    """Volts per GHz near the top of the curve, a quarter either way, where voltage and clock both moved under load."""
    clock, volts, power = (whole(trace, domain, name) for name in ("clock", "voltage", "power"))
    if clock is None or volts is None or power is None:
        return None
    there = np.isfinite(clock) & np.isfinite(volts) & np.isfinite(power)
    if there.sum() < 30 or _plausible_volts(float(np.median(volts[there]))) is None:
        return None
    there &= (power > 0.4 * np.nanpercentile(power, 95)) & (clock > 0.6 * np.nanpercentile(clock, 95))
    if there.sum() < 30:
        return None
    ghz = clock[there] / 1000.0
    low, high = np.percentile(ghz, (5, 95))
    if high - low < 0.03 * high:
        return None
    slope = float(np.polyfit(ghz, volts[there], 1)[0])
    return (0.75 * slope, 1.25 * slope) if 0.03 < slope < 1.5 else None


def _main_of(report: LimiterReport, where: np.ndarray[tuple[int], np.dtype[np.bool_]], weights: Floats) -> str:
    mass = np.bincount(report.labels[where], weights=weights[where], minlength=len(LABELS))
    return LABELS[int(mass.argmax())] if mass.sum() > 0 else "unknown"


def _plausible_volts(volts: float | None) -> float | None:
    # A supply rail (12 V, 5 V) under the name of a core voltage would spoil the V squared f model.
    return volts if volts is not None and 0.4 <= volts <= 1.8 else None


def _fan_is_fixed(trace: Trace) -> bool:
    """Whether every fan kept its speed to 2 % over the whole trace, warm-up included."""
    speeds = []
    for name, values in trace.channels.items():
        if Channel.parse(name).quantity == "fan":
            seen = values[np.isfinite(values)]
            if seen.size > 10 and float(np.median(seen)) > 0:
                speeds.append(seen)
    return bool(speeds) and all(
        float(np.ptp(np.percentile(seen, (5, 95)))) < 0.02 * float(np.median(seen)) for seen in speeds
    )
