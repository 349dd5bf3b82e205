"""What is ordinary for a sensor: the unit of bare numbers, doubts about a reading, and values that mean nothing.

All ranges are common practice, no source; they are wide, and what lies outside is asked about, not refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.measures import Measure
from surefoot.logs.plausible import extent
from surefoot.runs import Channel, Floats

Mask = NDArray[np.bool_]
UNSURE = 0.62
"""The confidence of what must be confirmed."""

_C = Measure("temperature", "°C")
_UNITS: dict[str, tuple[Measure, ...]] = {
    "temperature": (
        _C,
        Measure("temperature", "°F", 5.0 / 9.0, -160.0 / 9.0),
        Measure("temperature", "K", 1.0, -273.15),
        Measure("temperature", "0.1 °C", 0.1),
        Measure("temperature", "m°C", 1e-3),
    ),
    "clock": (
        Measure("clock", "MHz"),
        Measure("clock", "GHz", 1e3),
        Measure("clock", "kHz", 1e-3),
        Measure("clock", "Hz", 1e-6),
    ),
    "power": (Measure("power", "W"), Measure("power", "mW", 1e-3), Measure("power", "µW", 1e-6)),
    "voltage": (Measure("voltage", "V"), Measure("voltage", "mV", 1e-3), Measure("voltage", "µV", 1e-6)),
    "current": (Measure("current", "A"), Measure("current", "mA", 1e-3)),
    "frame-time": (Measure("time", "ms"), Measure("time", "s", 1e3), Measure("time", "µs", 1e-3)),
    "fan": (Measure("speed", "rpm"), Measure("share", "%")),
}


def _usual(channel: Channel) -> tuple[float, float] | None:
    """The range of the high readings (98th percentile) of a channel on a machine that does something."""
    domain = channel.domain.partition("-")[0]
    quantity = channel.quantity.removesuffix("-limit")
    if quantity == "temperature":
        return (-15.0, 48.0) if domain == "room" else (15.0, 112.0)
    if quantity == "clock":
        top = 26000.0 if channel.part or domain == "memory" else 7500.0
        return (90.0, top)
    if quantity == "power":
        tops = {"cpu": 550.0, "gpu": 750.0, "igpu": 200.0, "system": 2500.0, "battery": 300.0}
        return (0.02 if channel.part else 0.25, tops.get(domain, 400.0))
    if quantity == "voltage":
        return (0.2, 2.2) if domain in ("cpu", "gpu", "igpu", "memory") else (0.2, 60.0)
    if quantity == "current":
        return (0.02, 900.0)
    if quantity == "fan":
        return (101.0, 15000.0)
    if quantity == "frame-time":
        return (0.8, 2000.0)
    if quantity in ("busy", "duty", "charge"):
        return (0.0, 103.0)
    return None


def _high(values: Floats) -> float | None:
    # Some thousands tell the height of the readings as well as all of them do.
    values = values[:: max(1, values.size // 2048)]
    with np.errstate(invalid="ignore"):
        there = np.abs(values[np.isfinite(values) & (values != 0)])
    return float(np.quantile(there, 0.98)) if there.size else None


@dataclass(frozen=True)
class Reckoned:
    """The unit that bare numbers are in: ``doubt`` in words where it must be confirmed."""

    measure: Measure | None
    doubt: str = ""


def reckon(channel: Channel, values: Floats) -> Reckoned:
    """The unit of numbers without one, by what would be ordinary. The canonical unit wins where it may."""
    quantity = channel.quantity.removesuffix("-limit")
    units = _UNITS.get(quantity)
    usual = _usual(channel)
    high = _high(values)
    if units is None or usual is None or high is None:
        return Reckoned(None)
    fitting = [unit for unit in units if _ordinary(unit, high, values, usual)]
    canonical = units[0]
    if not fitting:
        return Reckoned(canonical, f"no unit written, and {high:g} is not ordinary in any that is known")
    if len(fitting) > 1:
        names = " or ".join(unit.unit for unit in fitting)
        return Reckoned(fitting[0], f"no unit written; by the size of its values it may be {names}")
    only = fitting[0]
    low, top = usual
    read_plainly = high * canonical.factor + canonical.offset
    if only != canonical and low / 3 <= read_plainly <= top * 3:
        return Reckoned(
            only, f"no unit written; {only.unit} by the size of its values, but {canonical.unit} is not far off"
        )
    return Reckoned(only)


def _ordinary(unit: Measure, high: float, values: Floats, usual: tuple[float, float]) -> bool:
    low, top = usual
    if unit.unit == "%":
        return high <= 110.0
    if not low <= high * unit.factor + unit.offset <= top:
        return False
    if unit.family != "temperature":
        return True
    there = values[np.isfinite(values) & (values != 0)]
    middle = float(np.median(there)) * unit.factor + unit.offset
    if unit.unit == "°F":
        # Read as Fahrenheit only where it would be odd as Celsius: always hot, never near a room's temperature.
        return bool(there.min() >= 58.0 and np.median(there) >= 84.0)
    if unit.unit == "0.1 °C":
        return bool(np.all(there == np.round(there))) and middle >= 10
    return middle > -5


def doubt(channel: Channel, values: Floats) -> str:
    """Why readings in the canonical unit must be confirmed, in words; "" when they are ordinary."""
    usual = _usual(channel)
    high = _high(values)
    if usual is None or high is None:
        return ""
    low, top = usual
    if channel.quantity == "fan" and float(np.median(values[np.isfinite(values) & (values != 0)])) < 150:
        return f"most of its values are below 150 {channel.unit}, slower than fans turn"
    if high > top:
        return f"{high:.5g} {channel.unit} is more than a {channel.quantity} ordinarily says"
    if high < low:
        return f"{high:.3g} {channel.unit} is less than a {channel.quantity} ordinarily says"
    return ""


_EMPTY = (
    -1.0, -2.0, -9.0, -99.0, -100.0, -127.0, -128.0, -255.0, -256.0, -273.0, -273.15, -274.0, -999.0, -1000.0,
    -9999.0, -32768.0, -2147483648.0, 127.0, 128.0, 255.0, 999.0, 9999.0, 32767.0, 65535.0, 6553.5,
    655.35, 3276.7, 327.67, 99999.0,
    2147483647.0, 4294967295.0,
)  # fmt: skip
_ALL_BITS = (65535.0, 4294967295.0)
_EMPTY_SET = frozenset(_EMPTY)


def _signed(channel: Channel) -> bool:
    return channel.domain == "battery" or (channel.quantity == "voltage" and channel.domain in ("board", "system"))


def nothing_measured(channel: Channel, values: Floats) -> list[tuple[float, Mask]]:
    """Values by which loggers say that nothing was measured, as (value, where), shape (n,) each, in raw numbers.

    A value counts only where it stands apart from all others of its column. A true zero of a fan or of a load is kept.
    """
    low, high = extent(values)
    # What stands apart from all others is the least or the greatest of them.
    if (low > 0 and high < 127) or (low not in _EMPTY_SET and high not in _EMPTY_SET):
        return _spikes(channel, values) if high > _ALL_BITS[0] else []
    with np.errstate(invalid="ignore"):
        finite = np.isfinite(values)
        found: list[tuple[float, Mask]] = []
        for value in _EMPTY:
            if not low <= value <= high:
                continue
            at = values == value
            if not at.any():
                continue
            rest = values[finite & ~at & ~np.isin(values, _EMPTY) & (values != 0)]
            if _apart(channel, value, rest):
                found.append((value, at))
    return found


def _spikes(channel: Channel, values: Floats) -> list[tuple[float, Mask]]:
    """All bits set, in the midst of readings of which some are greater: told by both neighbours being far smaller."""
    found = []
    for value in _ALL_BITS:
        at = values == value
        if channel.quantity in ("reasons", "count", "energy") or not at.any():
            continue
        there = np.flatnonzero(np.isfinite(values))
        place = np.searchsorted(there, np.flatnonzero(at))
        before, after = values[there[np.maximum(place - 1, 0)]], values[there[np.minimum(place + 1, there.size - 1)]]
        far = ((before < 0.6 * value) | (before == value)) & ((after < 0.6 * value) | (after == value))
        if far.any():  # then the others are none either
            found.append((value, at))
    return found


def _apart(channel: Channel, value: float, rest: Floats) -> bool:
    if not rest.size or channel.quantity in ("reasons", "count", "energy"):
        return False
    if value < 0:
        if _signed(channel):
            return value <= -99 and rest.min() > value / 2
        quantity = channel.quantity
        if quantity == "temperature":
            return bool(rest.min() > value + 8)
        return bool(rest.min() >= 0)
    if value >= 32767:
        return bool(rest.max() < value)  # all bits set: nobody measures just that
    return channel.quantity == "temperature" and bool(rest.max() < 0.8 * value)


def sleeping_zeros(channel: Channel, values: Floats) -> Mask | None:
    """Zeros that a sleeping part says instead of a reading, shape (n,); None when there are none such."""
    if channel.quantity not in ("temperature", "clock", "voltage", "power") or channel.domain in ("room", "battery"):
        return None
    low, high = extent(values)
    if low > 0 or high < 0:
        return None
    at = values == 0
    if not at.any():
        return None
    with np.errstate(invalid="ignore"):
        rest = values[np.isfinite(values) & ~at]
    least = {"temperature": 8.0, "clock": 40.0, "voltage": 0.15, "power": 0.3}[channel.quantity]
    if not rest.size or float(rest.min()) < least:
        return None
    return np.asarray(at, dtype=np.bool_)
