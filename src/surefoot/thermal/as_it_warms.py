"""What a part's clock and power do as it warms: whether clock, power or current is what is being kept.

A part that warms leaks more. Where the clock is kept, power climbs; where power is kept, the clock gives way; where
current is kept, power goes down with the voltage, by a fifth to nine tenths of what the clock gives (d ln V / d ln f:
common practice, no source). That is often less than one per cent, so every sample is needed. Clock and power are both
regressed on temperature and never on each other: a controller that dithers between two steps moves both at once, which
says nothing of what is kept (temperature as an instrument: any text on regression with errors in its variables).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.runs import Floats
from surefoot.thermal.steady import quantisation_error, quantum

_DIVIDES = np.linspace(0.15, 0.9, 31)  # d ln V / d ln f
_LEAKS = np.geomspace(0.0002, 0.006, 25)  # d ln P / dT at a kept clock
_GIVES = np.geomspace(0.0001, 0.003, 25)  # of the clock, at kept power: what leaks less takes a third to two thirds
_UNEVEN = 0.0012  # of power or clock over the range of temperature: nothing is kept better
_FEWEST = 20
_SAME = 0.03  # levels of power nearer than this are one


@dataclass(frozen=True)
class Kept:
    """Logarithms of the likelihood that clock, power or current is kept; only differences have a meaning."""

    clock: float = 0.0
    power: float = 0.0
    current: float = 0.0


def kept_while_warming(
    power: Floats, clock: Floats, volts: Floats | None, celsius: Floats, group: NDArray[np.int64]
) -> Kept:
    """How likely each is, from samples of one stretch in which one of them is kept.

    ``power``, ``clock``, ``volts``: logarithms, shape (n,), as ``celsius`` (smoothed); ``group``: numbers of parts
    between jumps. All alike where the part did not warm, or too little was measured.
    """
    there = np.isfinite(power) & np.isfinite(clock) & np.isfinite(celsius)
    if volts is not None and np.isfinite(volts[there]).mean() > 0.8:
        there &= np.isfinite(volts)
    else:
        volts = None
    if there.sum() < _FEWEST:
        return Kept()
    place = np.flatnonzero(there)
    code = _levels(power[place], np.unique(group[place], return_inverse=True)[1])
    watts = np.exp(power[place])
    step = quantum(watts)
    keep = _of_the_level(power[place], celsius[place], code, 0.5 * step / float(watts.mean()))
    place, code = place[keep], np.unique(code[keep], return_inverse=True)[1]
    if place.size < _FEWEST:
        return Kept()
    warm = _within(celsius[place], code)
    span = float(np.ptp(warm))
    if span < 1.0:
        return Kept()
    apart = _within(power[place], code)
    falls, sure = _slope(apart, warm, code)
    # Whole watts hide what is smaller, unless noise carries them across.
    hidden = 2.0 * quantisation_error(step, float(np.std(apart - falls * warm)) * float(watts.mean())) / watts.mean()
    sure = math.hypot(sure, math.hypot(_UNEVEN, hidden) / span)
    gives, blur = _slope(_within(clock[place], code), warm, code)
    blur = math.hypot(blur, _UNEVEN / span)
    if volts is not None:
        follow, unsure = _slope(_within(volts[place], code), warm, code)
        by_current = float(_likely(falls - follow, math.hypot(sure, unsure)))
    else:
        follows = _likely(falls - _DIVIDES * max(gives, 0.0), np.hypot(sure, _DIVIDES * blur))
        by_current = float(np.log(np.mean(np.exp(follows)) + 1e-300))
    # What the clock gives way by is known for power and current alike, and tells both from a kept clock.
    gives_way = float(np.log(np.mean(np.exp(_likely(gives - _GIVES, blur))) + 1e-300))
    climbs = float(np.log(np.mean(np.exp(_likely(falls + _LEAKS, sure))) + 1e-300))
    return Kept(
        clock=float(_likely(gives, blur)) + climbs,
        power=float(_likely(falls, sure)) + gives_way,
        current=by_current + gives_way,
    )


def _likely(apart: Floats | float, spread: Floats | float) -> Floats:
    """Log likelihood with long tails (Student's t, 4 degrees): where neither fits, neither is told."""
    return np.asarray(-2.5 * np.log1p(np.square(apart / spread) / 4.0) - np.log(spread), dtype=np.float64)


def _of_the_level(power: Floats, celsius: Floats, code: NDArray[np.intp], rounding: float) -> NDArray[np.bool_]:
    """Without samples on the way from one level to another, or of a short boost.

    By a line in temperature with Cauchy weights, begun at the median: a short boost comes when the part is cold, and
    would draw a plain fit to itself.
    """
    median = np.array([float(np.median(power[code == group])) for group in range(int(code.max()) + 1)])
    left = power - median[code]
    scale = 0.0
    for _ in range(12):
        scale = max(1.4826 * float(np.median(np.abs(left))), rounding, 1e-4)
        weight = 1.0 / (1.0 + (left / (2.5 * scale)) ** 2)
        total = np.bincount(code, weights=weight)
        warm = celsius - (np.bincount(code, weights=weight * celsius) / total)[code]
        high = power - (np.bincount(code, weights=weight * power) / total)[code]
        left = high - warm * float((weight * warm) @ high) / max(float((weight * warm) @ warm), 1e-9)
    return np.asarray(np.abs(left) <= max(4.0 * scale, 0.003))


def _levels(power: Floats, code: NDArray[np.intp]) -> NDArray[np.intp]:
    """Neighbouring groups at one level of power are one: a controller that dithers makes jumps that are none."""
    count = np.bincount(code)
    mean = np.bincount(code, weights=power) / count
    apart = power - mean[code]
    spread = float(np.std(apart)) * math.sqrt(code.size / max(code.size - count.size, 1))
    groups = [[group] for group in range(count.size)]
    while len(groups) > 1:
        sizes = [float(count[group].sum()) for group in groups]
        levels = [float(mean[group] @ count[group]) / size for group, size in zip(groups, sizes, strict=True)]
        near = [
            abs(levels[i + 1] - levels[i]) / max(_SAME, 3.5 * spread * math.sqrt(1 / sizes[i] + 1 / sizes[i + 1]))
            for i in range(len(groups) - 1)
        ]
        least = int(np.argmin(near))
        if near[least] > 1.0:
            break
        groups[least : least + 2] = [groups[least] + groups[least + 1]]
    merged = np.empty(count.size, dtype=np.intp)
    for place, group in enumerate(groups):
        merged[group] = place
    return np.asarray(merged[code], dtype=np.intp)


def _within(values: Floats, code: NDArray[np.intp]) -> Floats:
    """Less the mean of its group."""
    count = np.bincount(code)
    return np.asarray(values - (np.bincount(code, weights=values) / count)[code], dtype=np.float64)


def _slope(values: Floats, warm: Floats, code: NDArray[np.intp]) -> tuple[float, float]:
    """Fall a degree, and its standard error, neighbouring errors being alike (effective number by lag one)."""
    across = float(warm @ warm)
    slope = float(warm @ values) / across
    left = values - slope * warm
    freedom = max(values.size - 1 - int(code.max()) - 1, 1)
    variance = float(left @ left) / freedom
    alike = float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-18)
    alike = min(max(alike, 0.0), 0.95)
    return -slope, math.sqrt(variance / across * (1.0 + alike) / (1.0 - alike)) + 1e-12
