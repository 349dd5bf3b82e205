"""What a sensor can say: the band of each quantity, and the unit that a bare number must be in."""

from __future__ import annotations

import numpy as np

from surefoot.logs.measures import Measure
from surefoot.runs import Floats

# Wide bands: what is outside cannot be a reading of a computer (common practice, no source).
BANDS: dict[str, tuple[float, float]] = {
    "temperature": (-40.0, 150.0),
    "clock": (0.0, 30000.0),
    "power": (-500.0, 5000.0),
    "energy": (0.0, 1e12),
    "voltage": (-15.0, 60.0),
    "current": (-1000.0, 2000.0),
    "fan": (0.0, 30000.0),
    "duty": (0.0, 110.0),
    "busy": (0.0, 110.0),
    "charge": (0.0, 110.0),
    "frame-time": (0.0, 60000.0),
    "count": (0.0, 1e12),
    "thermal-flag": (0.0, 1.0),
    "power-flag": (0.0, 1.0),
    "current-flag": (0.0, 1.0),
    "throttle-flag": (0.0, 1.0),
    "reasons": (0.0, 2.0**53),
    "power-limit": (0.0, 5000.0),
    "temperature-limit": (0.0, 150.0),
    "clock-limit": (0.0, 30000.0),
}

# Where a header names no unit: ranges of the median of what is above zero, with the unit it then must be in.
_BARE: dict[str, tuple[tuple[float, float, Measure], ...]] = {
    "temperature": (
        (-40.0, 150.0, Measure("temperature", "°C")),
        (250.0, 400.0, Measure("temperature", "K", 1.0, -273.15)),
        (1e3, 1.5e5, Measure("temperature", "m°C", 1e-3)),
    ),
    "clock": (
        (0.05, 12.0, Measure("clock", "GHz", 1e3)),
        (12.0, 3e4, Measure("clock", "MHz")),
        (3e4, 3e7, Measure("clock", "kHz", 1e-3)),
        (3e7, 3e10, Measure("clock", "Hz", 1e-6)),
    ),
    "power": (
        (0.0, 2e3, Measure("power", "W")),
        (2e3, 2e6, Measure("power", "mW", 1e-3)),
        (2e6, 1e10, Measure("power", "µW", 1e-6)),
    ),
    "voltage": (
        (0.0, 60.0, Measure("voltage", "V")),
        (60.0, 6e4, Measure("voltage", "mV", 1e-3)),
        (6e4, 1e8, Measure("voltage", "µV", 1e-6)),
    ),
}


def extent(values: Floats) -> tuple[float, float]:
    """The least and the greatest of some numbers; NaN twice where there are none."""
    if not values.size:
        return float("nan"), float("nan")
    return float(np.fmin.reduce(values)), float(np.fmax.reduce(values))


def outside(quantity: str, values: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where values in canonical units cannot be readings of the quantity. NaN is never outside."""
    low, high = BANDS[quantity]
    least, most = extent(values)
    if low <= least and most <= high:
        return np.zeros(values.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        return np.asarray((values < low) | (values > high), dtype=np.bool_)


def bare_unit(quantity: str, values: Floats) -> Measure | None:
    """The unit that numbers without one must be in, by their size; None where the size says nothing."""
    with np.errstate(invalid="ignore"):
        there = values[np.isfinite(values) & (values != 0)]
    if not there.size:
        return None
    middle = float(np.median(np.abs(there)))
    if quantity.endswith("-limit"):
        quantity = quantity.removesuffix("-limit")
    if quantity in ("busy", "duty", "charge") and float(there.max()) <= 1.0 and np.any(there % 1 != 0):
        return Measure("share", "of 1", 100.0)
    if quantity == "frame-time" and middle < 0.3:
        return Measure("time", "s", 1e3)
    for low, high, found in _BARE.get(quantity, ()):
        if low <= middle < high:
            return found
    return None
