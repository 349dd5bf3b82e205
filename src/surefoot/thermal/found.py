"""Limits that nobody told, found in the trace with their evidence, to be offered for the card; and wrong cards."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surefoot.runs import Floats
from surefoot.thermal.labels import CODE, Mask

_LEAST_CONFIDENCE = 0.6
_SAME = 0.04  # levels nearer than this are one
_NO_CAP = 0.1
_LONG_ABOVE_SECONDS = 150.0  # above a sustained limit for longer is no short-term boost


@dataclass(frozen=True)
class FoundLimit:
    """A limit that the trace shows.

    ``kind``: ``power`` (sustained), ``short-term power``, ``throttle point`` or ``clock cap``; ``value`` with its range
    ``low`` to ``high`` (the middle 90 % of five-second means) in ``unit``; ``from_minutes``, ``to_minutes``: where in
    the trace; ``evidence``: what was seen, in words; ``confidence``: 0 to 1; ``known``: whether the card or the trace's
    own report says the same already.
    """

    kind: str
    value: float
    low: float
    high: float
    unit: str
    from_minutes: float
    to_minutes: float
    evidence: str
    confidence: float
    known: bool = False

    @property
    def sentence(self) -> str:
        """In words."""
        span = f"minute {self.from_minutes:.1f} to {self.to_minutes:.1f}"
        return f"{self.kind} {_number(self.value, self.unit)}, {span}: {self.evidence}"


def _number(value: float, unit: str) -> str:
    return f"{value:.0f} {unit}" if unit == "MHz" or abs(value) >= 100 else f"{value:.1f} {unit}"


@dataclass(frozen=True)
class Seen:
    """What is needed of a domain's trace: each series shape (n,) or None, five-second means; ``weights`` in seconds."""

    seconds: Floats
    weights: Floats
    power: Floats | None
    clock: Floats | None
    celsius: Floats | None
    label: np.ndarray[tuple[int], np.dtype[np.int8]]
    confidence: Floats


def found_limits(seen: Seen, power_limit: float | None, throttle: float | None) -> tuple[FoundLimit, ...]:
    """Every limit that held the part for a while, the sustained one first. ``power_limit``, ``throttle``: as known."""
    found = [*_power(seen, power_limit), *_throttle(seen, throttle), *_cap(seen)]
    return tuple(one for one in found if one.confidence >= _LEAST_CONFIDENCE)


def contradictions(
    seen: Seen, found: tuple[FoundLimit, ...], power_limit: float | None, ceiling: float | None
) -> tuple[str, ...]:
    """What on the card the trace does not bear out, in words."""
    said = []
    sustained = next((one for one in found if one.kind == "power"), None)
    if power_limit is not None and seen.power is not None:
        above = np.nan_to_num(seen.power, nan=0.0) > power_limit * 1.04
        spent = float(seen.weights[above].sum())
        if spent > _LONG_ABOVE_SECONDS:
            level = float(np.median(seen.power[above]))
            said.append(
                f"the power limit of {power_limit:g} W that is known is not what holds: "
                f"{level:.1f} W was drawn for {spent / 60:.1f} minutes"
            )
        elif sustained is not None and power_limit > 0 and abs(sustained.value / power_limit - 1.0) > _SAME:
            side = "below" if sustained.value < power_limit else "above"
            said.append(
                f"the power limit of {power_limit:g} W that is known is not what holds: power is held at "
                f"{sustained.value:.1f} W, {abs(power_limit - sustained.value):.1f} W {side} it"
            )
    throttle = next((one for one in found if one.kind == "throttle point"), None)
    if ceiling is not None and seen.celsius is not None:
        hot = (np.nan_to_num(seen.celsius, nan=-np.inf) > ceiling + 3.0) & (seen.label != CODE["thermal"])
        if throttle is not None and abs(throttle.value - ceiling) > 3.0:
            said.append(
                f"the ceiling of {ceiling:g} °C on the card is not the throttle point: the part holds itself at "
                f"{throttle.value:.1f} °C"
            )
        elif throttle is None and float(seen.weights[hot].sum()) > 60.0:
            top = float(np.max(seen.celsius[hot]))
            said.append(
                f"the ceiling of {ceiling:g} °C on the card is not the throttle point: the part ran at up to "
                f"{top:.0f} °C and temperature was not what held it"
            )
    return tuple(said)


def _mean(values: Floats | None, where: Mask) -> float:
    if values is None:
        return math.nan
    some = values[where & np.isfinite(values)]
    return float(np.median(some)) if some.size else math.nan


def _ends(values: Floats | None, where: Mask) -> tuple[float, float]:
    """Of a masked stretch, the means of its first and its last eighth."""
    if values is None:
        return math.nan, math.nan
    some = values[where & np.isfinite(values)]
    eighth = max(1, some.size // 8)
    return (float(some[:eighth].mean()), float(some[-eighth:].mean())) if some.size else (math.nan, math.nan)


def _power(seen: Seen, known: float | None) -> list[FoundLimit]:
    if seen.power is None:
        return []
    held: Mask = (seen.label == CODE["power"]) & np.isfinite(seen.power) & (seen.power > 0)
    total = float(seen.weights[held].sum())
    left = held.copy()
    levels: list[Mask] = []
    while left.any() and len(levels) < 3:
        logs = np.log(np.where(left, seen.power, 1.0))
        bins = np.round(logs / 0.01).astype(np.int64)
        codes, back = np.unique(bins[left], return_inverse=True)
        mode = int(codes[np.bincount(back, weights=seen.weights[left]).argmax()])
        near = left & (np.abs(bins - mode) <= 2)
        left = left & (np.abs(bins - mode) > 4)
        if float(seen.weights[near].sum()) >= max(0.03 * total, 6.0):
            levels.append(near)
    if not levels:
        return []
    # The sustained limit is the one that holds last; what was held above it before is a short-term one.
    lasting = max(levels, key=lambda near: float(seen.weights[near].sum()))
    made = []
    for near in sorted(levels, key=lambda near: near is not lasting):
        value = _mean(seen.power, near)
        sustained = near is lasting or value < _mean(seen.power, lasting)
        low, high = (float(one) for one in np.percentile(seen.power[near], (5, 95)))
        confidence = float(np.average(seen.confidence[near], weights=seen.weights[near]))
        at = seen.seconds[near] / 60.0
        made.append(
            FoundLimit(
                kind="power" if sustained else "short-term power",
                value=value,
                low=low,
                high=high,
                unit="W",
                from_minutes=float(at[0]),
                to_minutes=float(at[-1]),
                evidence=_power_evidence(seen, near, value),
                confidence=confidence,
                known=known is not None and known > 0 and abs(value / known - 1.0) <= _SAME,
            )
        )
    return made


def _power_evidence(seen: Seen, near: Mask, value: float) -> str:
    assert seen.power is not None
    spread = float(np.std(seen.power[near])) / value
    said = [f"power stayed within {max(2 * spread, 0.001):.1%}"]
    cold, warm = _ends(seen.celsius, near)
    first, last = _ends(seen.clock, near)
    if warm - cold > 2.0:
        said.append(f"while the part warmed by {warm - cold:.0f} °C")
    if first - last > 0.002 * last:
        said.append(f"{'and' if len(said) > 1 else 'while'} the clock gave way by {first - last:.0f} MHz")
    before = seen.power[(seen.seconds < seen.seconds[near][0]) & np.isfinite(seen.power)]
    if before.size and float(np.percentile(before, 95)) > 1.05 * value:
        said.append(f"after {float(np.percentile(before, 95)):.1f} W before it")
    return " ".join(said)


def _throttle(seen: Seen, known: float | None) -> list[FoundLimit]:
    held: Mask = seen.label == CODE["thermal"]
    if seen.celsius is None or float(seen.weights[held].sum()) < 15.0:
        return []
    held = held & np.isfinite(seen.celsius)
    if not held.any():
        return []
    low, high = (float(one) for one in np.percentile(seen.celsius[held], (5, 95)))
    value = _mean(seen.celsius, held)
    said = [f"temperature stayed within {max(high - low, 0.1):.1f} °C"]
    given = []
    for values, unit in ((seen.power, "W"), (seen.clock, "MHz")):
        first, last = _ends(values, held)
        if first - last > 0.01 * abs(last):
            given.append(_number(first - last, unit))
    if given:
        said.append(f"while {' and '.join(given)} were given away")
    at = seen.seconds[held] / 60.0
    return [
        FoundLimit(
            kind="throttle point",
            value=value,
            low=low,
            high=high,
            unit="°C",
            from_minutes=float(at[0]),
            to_minutes=float(at[-1]),
            evidence=" ".join(said),
            confidence=float(np.average(seen.confidence[held], weights=seen.weights[held])),
            known=known is not None and abs(value - known) <= 2.0,
        )
    ]


def _cap(seen: Seen) -> list[FoundLimit]:
    held: Mask = (seen.label == CODE["other"]) | (seen.label == CODE["current"])
    if seen.clock is None or float(seen.weights[held].sum()) < 20.0:
        return []
    held = held & np.isfinite(seen.clock)
    if not held.any():
        return []
    low, high = (float(one) for one in np.percentile(seen.clock[held], (5, 95)))
    if high - low > _NO_CAP * high:
        return []  # a clock that goes on falling is held by something, but there is no cap to write down
    best = float(np.nanmax(np.where(seen.label == CODE["idle"], np.nan, seen.clock)))
    at = seen.seconds[held] / 60.0
    return [
        FoundLimit(
            kind="clock cap",
            value=_mean(seen.clock, held),
            low=low,
            high=high,
            unit="MHz",
            from_minutes=float(at[0]),
            to_minutes=float(at[-1]),
            evidence=f"{best:.0f} MHz was reached elsewhere; neither temperature nor power was kept",
            confidence=float(np.average(seen.confidence[held], weights=seen.weights[held])),
        )
    ]
