"""The boost at the beginning of a stretch of work: its level, its length, and what it fell to."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surefoot.runs import Floats
from surefoot.thermal.channels import Windows
from surefoot.thermal.labels import Mask

_LEAST_RATIO = 1.04  # of power (of the clock: half of what is above 1) over the level after it
_LEAST_SECONDS = 3.0
_SHARPEST = 0.35  # of its length: what the fall may take; a slower one is a part giving way to heat


@dataclass(frozen=True)
class Boost:
    """Power and clock while it lasted and after it (medians; None: not measured), from when to when in seconds."""

    watts: float | None
    then_watts: float | None
    clock_mhz: float | None
    then_clock_mhz: float | None
    from_seconds: float
    to_seconds: float

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return self.to_seconds - self.from_seconds

    @property
    def sentence(self) -> str:
        """In words."""

        def level(watts: float | None, clock: float | None) -> str:
            said = [f"{watts:.1f} W" if watts is not None else "", f"{clock:.0f} MHz" if clock is not None else ""]
            return " and ".join(text for text in said if text)

        return (
            f"boost of {self.seconds:.0f} s at {level(self.watts, self.clock_mhz)}, "
            f"then {level(self.then_watts, self.then_clock_mhz)}"
        )


def first_boost(seconds: Floats, power: Floats | None, clock: Floats | None, work: Mask) -> Boost | None:
    """The boost of the first stretch of work that has one; None where power (or the clock) only drifts.

    ``work``: where the part is not idle, shape (n,). Raw series, not smoothed: a boost may last ten seconds.
    """
    leads = power if power is not None else clock
    if leads is None:
        return None
    least = _LEAST_RATIO if power is not None else 1.0 + (_LEAST_RATIO - 1.0) / 2.0
    place = np.flatnonzero(work & np.isfinite(leads))
    if place.size < 12:
        return None
    usual = max(float(np.median(np.diff(seconds[place]))), 1e-3)
    cut = np.flatnonzero(np.diff(seconds[place]) > max(12.0, 6.0 * usual))
    for part in np.split(place, cut + 1):
        if part.size < 12 or seconds[part[-1]] - seconds[part[0]] < 30.0:
            continue
        found = _in_stretch(seconds[part], leads[part], least, usual)
        if found is not None:
            start, end = found
            first, after = part[start:end], part[end:]
            after = after[seconds[after] <= seconds[after[0]] + 120.0]
            return Boost(
                _median(power, first),
                _median(power, after),
                _median(clock, first),
                _median(clock, after),
                float(seconds[first[0]]),
                float(seconds[after[0]]),
            )
    return None


def _median(values: Floats | None, at: np.ndarray[tuple[int], np.dtype[np.intp]]) -> float | None:
    if values is None:
        return None
    middle = float(np.nanmedian(values[at])) if np.isfinite(values[at]).any() else math.nan
    return middle if math.isfinite(middle) else None


def _in_stretch(seconds: Floats, values: Floats, least: float, usual: float) -> tuple[int, int] | None:
    smooth = Windows.of(seconds, max(3.0, 2.2 * usual)).mean(values)
    late = smooth[seconds > seconds[0] + 0.5 * (seconds[-1] - seconds[0])]
    lasting = float(np.median(late))
    high = float(np.max(smooth))
    if lasting <= 0 or high < least * lasting:
        return None
    # The level of the boost is that of most of what lies above the middle, not of one overshoot.
    above = smooth > lasting + 0.5 * (high - lasting)
    level = float(np.median(smooth[above]))
    over = smooth > lasting + 0.5 * (level - lasting)
    if level < least * lasting or not over.any():
        return None
    start = int(np.argmax(over))
    if seconds[start] - seconds[0] > 0.3 * (seconds[-1] - seconds[0]):
        return None
    rest = np.flatnonzero(~over[start:])
    end = start + int(rest[0]) if rest.size else over.size
    if end >= over.size - 3 or seconds[end] - seconds[start] < _LEAST_SECONDS:
        return None
    # How long the fall takes, from four fifths to a fifth of the way.
    near_top = np.flatnonzero(smooth[start:end] > lasting + 0.8 * (level - lasting))
    near_end = np.flatnonzero(smooth[end:] < lasting + 0.2 * (level - lasting))
    if near_top.size == 0 or near_end.size == 0:
        return None
    fall = float(seconds[end + int(near_end[0])] - seconds[start + int(near_top[-1])])
    if fall > max(_SHARPEST * float(seconds[end] - seconds[start]), 6.0 + 3.0 * usual):
        return None
    return start, end
