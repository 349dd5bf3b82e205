"""What a user asks of a forecast, in the words of the unit's card, and which forecast a later run answers."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.forecast import Forecast, ForecastVerdict, What, judge_forecast, what_if
from surefoot.thermal.limits import Limits
from surefoot.thermal.operating import OperatingPoint, operating_point
from surefoot.units import Conditions, Knob, Setting, Unit


@dataclass(frozen=True)
class Question:
    """A change as the user puts it: offsets as they would stand on the knob, not as a difference; None: as it was."""

    domain: str = "cpu"
    offset_mv: float | None = None
    offset_mhz: float | None = None
    power_limit_watts: float | None = None
    room_celsius: float | None = None
    cooling_factor: float | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is asked."""
        asked = (self.offset_mv, self.offset_mhz, self.power_limit_watts, self.room_celsius, self.cooling_factor)
        return all(value is None for value in asked)


def voltage_knob(unit: Unit, domain: str) -> Knob | None:
    """The voltage offset of a domain on the card: a leading one first."""
    return _first(unit, domain, lambda knob: knob.is_voltage)


def clock_knob(unit: Unit, domain: str) -> Knob | None:
    """The clock offset of a domain on the card: of the core, not of the memory."""
    return _first(unit, domain, lambda knob: knob.is_clock and "mem" not in knob.name.lower())


def _first(unit: Unit, domain: str, fits: Callable[[Knob], bool]) -> Knob | None:
    found = [knob for knob in (*unit.leaders(), *unit.knobs) if knob.domain == domain and fits(knob)]
    return found[0] if found else None


def to_millivolts(value: float, unit: str) -> float:
    """A voltage offset in mV from its knob's unit."""
    return value * {"mV": 1.0, "V": 1000.0, "uV": 0.001, "µV": 0.001}[unit]


def to_megahertz(value: float, unit: str) -> float:
    """A clock offset in MHz from its knob's unit."""
    return value * {"MHz": 1.0, "GHz": 1000.0, "kHz": 0.001}[unit]


def offsets_at(unit: Unit, setting: Setting, domain: str) -> tuple[float, float]:
    """The voltage offset in mV and the clock offset in MHz of a domain at a setting; 0 where there is no such knob."""
    volts, clock = voltage_knob(unit, domain), clock_knob(unit, domain)
    return (
        to_millivolts(setting.value(volts.name), volts.unit) if volts else 0.0,
        to_megahertz(setting.value(clock.name), clock.unit) if clock else 0.0,
    )


def change_asked(unit: Unit, setting: Setting, question: Question) -> What:
    """The change from a run's setting to what is asked.

    Raises BadInput when nothing is asked, and for a voltage above stock, of which Surefoot makes no forecast.
    """
    where = f"forecast of {question.domain}"
    if question.is_empty:
        raise BadInput(
            "nothing is asked.",
            where=where,
            remedy="Give at least one of an offset, a power limit, a room temperature or a cooling factor.",
        )
    if question.offset_mv is not None and question.offset_mv > 0:
        raise BadInput(
            f"{question.offset_mv:+g} mV is above stock; Surefoot never goes there, not even on paper.",
            where=where,
            remedy="Allowed: 0 mV and below, as --offset-mv -80.",
        )
    millivolts, megahertz = offsets_at(unit, setting, question.domain)
    return What(
        offset_mv=0.0 if question.offset_mv is None else question.offset_mv - millivolts,
        offset_mhz=0.0 if question.offset_mhz is None else question.offset_mhz - megahertz,
        power_limit_watts=question.power_limit_watts,
        room_celsius=question.room_celsius,
        cooling_factor=1.0 if question.cooling_factor is None else question.cooling_factor,
    )


def forecast_from(trace: Trace, unit: Unit, setting: Setting, conditions: Conditions, question: Question) -> Forecast:
    """The forecast for a question, from the trace of a run at a setting. Raises BadInput as `what_if` and above do."""
    what = change_asked(unit, setting, question)
    point = operating_point(trace, question.domain, Limits.of(unit), conditions.ambient_celsius)
    return what_if(point, what)


def record_of(forecast: Forecast, unit: Unit, setting: Setting) -> dict[str, Any]:
    """The forecast for the journal, with the offsets that the knobs would stand at."""
    millivolts, megahertz = offsets_at(unit, setting, forecast.domain)
    return {
        "forecast": forecast.as_record(),
        "offset_mv": millivolts + forecast.what.offset_mv,
        "offset_mhz": megahertz + forecast.what.offset_mhz,
    }


@dataclass(frozen=True)
class Judged:
    """A forecast with its verdict: ``made``: ``before`` (recorded before the change) or ``now`` (from the first run
    alone, with no knowledge of the second); ``notes``: what differs between what was asked and what was done."""

    forecast: Forecast
    verdict: ForecastVerdict
    measured: OperatingPoint
    made: str
    notes: tuple[str, ...]


def judge_runs(
    before: tuple[Trace, Setting, Conditions],
    after: tuple[Trace, Setting, Conditions],
    unit: Unit,
    records: Sequence[Mapping[str, Any]],
    domain: str | None = None,
) -> Judged:
    """How good the forecast made from one run was, by another. ``records``: of the first run, oldest first.

    The latest record whose offsets are those of the second run is judged; failing that the latest; failing that a
    forecast is made now from the first run alone. Raises BadInput when either trace cannot be used.
    """
    usable = [record for record in records if _domain_of(record) in ((domain,) if domain else ("cpu", "gpu"))]
    fitting = [record for record in usable if not _apart(record, unit, after[1])]
    chosen = fitting[-1] if fitting else usable[-1] if usable else None
    notes: tuple[str, ...] = ()
    if chosen is not None:
        forecast = Forecast.from_record(chosen["forecast"])
        notes = _apart(chosen, unit, after[1])
        made = "before"
    else:
        part = domain or "cpu"
        millivolts, megahertz = offsets_at(unit, after[1], part)
        question = Question(part, millivolts, megahertz, None, after[2].ambient_celsius, None)
        forecast = forecast_from(before[0], unit, before[1], before[2], question)
        made = "now"
    measured = operating_point(after[0], forecast.domain, Limits.of(unit), after[2].ambient_celsius)
    return Judged(forecast, judge_forecast(forecast, measured), measured, made, notes)


def _domain_of(record: Mapping[str, Any]) -> str | None:
    inner = record.get("forecast")
    return str(inner.get("domain")) if isinstance(inner, Mapping) else None


def _apart(record: Mapping[str, Any], unit: Unit, setting: Setting) -> tuple[str, ...]:
    """In words, how the offsets of a record differ from those of a setting; () when they agree."""
    millivolts, megahertz = offsets_at(unit, setting, str(_domain_of(record)))
    said = []
    for name, asked, done in (
        ("mV", float(record.get("offset_mv", math.nan)), millivolts),
        ("MHz", float(record.get("offset_mhz", math.nan)), megahertz),
    ):
        if math.isfinite(asked) and abs(asked - done) > 0.5:
            said.append(f"the forecast was for {asked:+g} {name}, the run stood at {done:+g} {name}")
    return tuple(said)
