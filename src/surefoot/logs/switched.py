"""A column whose numbers go on in another unit from some line on, though nothing says so."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from surefoot.logs.lines import Ints
from surefoot.runs import Floats

_Way = Callable[[Floats], Floats]
_THOUSANDS = ("clock", "power", "voltage", "current", "fan")
# A load step changes clock and voltage little, power by some tens of times: milli and kilo lie well beyond.
_FROM, _TO = 250.0, 1e10
# A switch may fall together with a load step the other way; but a part that wakes takes a hundred times its idle power,
# so below _POWER_FAR it counts only where the larger is more than any part takes.
_POWER_FROM, _POWER_FAR, _POWER_TO, _POWER_MOST = 60.0, 500.0, 20000.0, 1000.0
_JUMP = 22.0  # degrees from one sample to the next, in any unit
_NEAR = 4.0
_MOST = 40  # more such steps, and it is how the sensor is
_SCALES: dict[str, tuple[_Way, _Way]] = {
    "°F where °C was, or the other way about": (lambda t: 1.8 * t + 32.0, lambda t: (t - 32.0) / 1.8),
    "K where °C was, or the other way about": (lambda t: t + 273.15, lambda t: t - 273.15),
    "K where °F was, or the other way about": (
        lambda t: (t - 32.0) / 1.8 + 273.15,
        lambda t: (t - 273.15) * 1.8 + 32.0,
    ),
}


def switches(quantity: str, values: Floats, factor: float = 1.0) -> tuple[Ints, str]:
    """Samples from which on another unit is likely, and which, in words; none and "" where there are none.

    ``values``: raw numbers, shape (n,), NaN where nothing was measured; ``factor``: from them to the unit that counts.
    """
    quantity = quantity.removesuffix("-limit")
    nothing = np.zeros(0, dtype=np.int64)
    if quantity not in (*_THOUSANDS, "temperature"):
        return nothing, ""
    with np.errstate(invalid="ignore", divide="ignore"):
        low, high = np.fmin.reduce(values, initial=np.inf), np.fmax.reduce(values, initial=-np.inf)
        if quantity == "temperature" and high - low < _JUMP:
            return nothing, ""
        bottom, top = (_POWER_FROM, _POWER_TO) if quantity == "power" else (_FROM, _TO)
        if quantity != "temperature" and low > 0 and high < bottom * low:
            return nothing, ""
        there = _steps_of_size(values, quantity)
        some = values[there]
        if some.size < 2:
            return nothing, ""
        before, after = some[:-1], some[1:]
        if quantity == "temperature":
            for what, ways in _SCALES.items():
                at = np.zeros(before.size, dtype=np.bool_)
                for way in ways:
                    at |= (np.abs(after - way(before)) <= _NEAR) & (np.abs(after - before) > _JUMP)
                if 0 < at.sum() <= _MOST:
                    return there[1:][at], what
            return nothing, ""
        ratio = after / before
        at = ((ratio >= bottom) & (ratio <= top)) | ((ratio <= 1 / bottom) & (ratio >= 1 / top))
        if quantity == "power":
            far = (ratio >= _POWER_FAR) | (ratio <= 1 / _POWER_FAR)
            at &= far | (np.maximum(before, after) * factor > _POWER_MOST)
        if 0 < at.sum() <= _MOST:
            return there[1:][at], "a unit a thousand times as large or as small"
    return nothing, ""


def _steps_of_size(values: Floats, quantity: str) -> Ints:
    """The samples that have a number: all, or none where no two neighbours are far enough apart."""
    there = np.flatnonzero(np.isfinite(values))
    if quantity == "temperature":
        # What stands still from sample to sample and over each gap need not be looked at closer.
        steps = np.diff(values)
        over = np.flatnonzero(np.diff(there) > 1)
        gaps = np.abs(values[there[over + 1]] - values[there[over]])
        most = max(np.fmax.reduce(steps, initial=0.0), -np.fmin.reduce(steps, initial=0.0), gaps.max(initial=0.0))
        if most <= _JUMP:
            return there[:0]
    return np.asarray(there[values[there] != 0], dtype=np.int64)


_COLD, _FALL, _LEAP = 18.0, 20.0, 65.0


def falls(values: Floats) -> str:
    """In words how a temperature leaps, or falls to where no part that runs is, from one sample to the next; else "".

    ``values``: °C, shape (n,). A part cools fast when its load ends, but not to below a room.
    """
    low, high = np.fmin.reduce(values, initial=np.inf), np.fmax.reduce(values, initial=-np.inf)
    if not (low < _COLD or high - low > _LEAP):
        return ""
    there = values[np.isfinite(values)]
    steps = np.diff(there)
    at = np.flatnonzero(((steps < -_FALL) & (there[1:] < _COLD)) | (steps > _LEAP))
    if not 0 < at.size <= _MOST:
        return ""
    how = "falls" if steps[at[0]] < 0 else "leaps"
    return f"it {how} from {there[at[0]]:g} to {there[at[0] + 1]:g} °C from one sample to the next"
