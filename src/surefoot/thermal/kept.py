"""Which quantity is being kept while the others move: the clock, the power, the current or the temperature.

Whatever holds a part down keeps one quantity where it is and lets the others give way. A part that nothing holds keeps
its clock, and its power drifts up with the heat (leakage grows with temperature). A power limiter keeps power, and the
clock gives way as the part warms; a current limiter keeps power over voltage; a thermal limiter keeps temperature.
Where everything has settled nothing moves any more, and what was kept on the way there decides.

So a stretch of work is cut into segments, each with the quantity kept in it, and all ways to cut it are weighed at once
(a hidden semi-Markov model by the forward-backward recursion: Rabiner, A tutorial on hidden Markov models, 1989, from
memory). What comes out is a chance for every label at every moment. What is expected of parts in general, as the terms
below, is common practice and our judgement, no source; it is held against generated machines in
`tests/benchmarks/thermal_machines.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surefoot.runs import Floats
from surefoot.thermal.labels import Mask

KEPT = ("free", "power", "thermal", "current", "other", "unknown")
"""Labels by column of the chances."""

# What counts as no movement of a mean over some seconds: controllers hunt and activity wanders by about as much.
# The second value is the most that is taken for noise of a mean.
_STILL_CLOCK = (0.0012, 0.010)
_STILL_POWER = (0.0030, 0.012)
_STILL_CELSIUS = (0.35, 1.2)
# Neighbouring means are alike, and loads are never quite constant: they count for less than independent ones would.
_TEMPER = 0.30
_SWITCH = -6.0  # log chance of one more segment
_NOTHING = 1.1  # per mean: what a stretch in which nothing is kept is worth
_PRIOR = {"free": 0.0, "power": 0.0, "thermal": -0.5, "current": -2.5, "other": -1.5, "unknown": -2.0}
_AT_TOP = 0.008  # how far below the highest clock is still at it, as a logarithm
_KEEPS_ALL = 3.0  # against a thermal limit where power is not seen to give way
_JUST_BEFORE = 12  # means
_DIVIDES = (0.2, 0.8)  # range of d ln V / d ln f: how voltage follows the clock


@dataclass(frozen=True)
class Means:
    """Means over short times of one stretch of work, each shape (b,); None: not measured.

    ``clock``, ``power``, ``amps``: logarithms; ``celsius``; ``weight``: 1 for a usual one, less for a shorter.
    ``light``: share of the time in which the part was not fully at work; ``hints``: by label what limits that are
    known say for (above 0) or against it, in logarithms of odds.
    """

    clock: Floats | None
    power: Floats | None
    amps: Floats | None
    celsius: Floats | None
    weight: Floats
    light: Floats
    hints: dict[str, Floats]

    @property
    def size(self) -> int:
        """How many."""
        return int(self.weight.size)


@dataclass(frozen=True)
class Elsewhere:
    """What the whole trace shows: the highest clock that was kept (logarithm), and the highest temperature."""

    top_clock: float | None
    top_celsius: float | None


class _Sums:
    """Weighted sums of products between any two means, so that every segment's spread is found at once."""

    def __init__(self, weight: Floats) -> None:
        self.weight = weight
        self.count = self._between(weight)

    def _between(self, values: Floats) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(values)])
        return np.asarray(total[None, :] - total[:, None], dtype=np.float64)

    def mean(self, x: Floats) -> Floats:
        """Of every segment [i, j), shape (b + 1, b + 1)."""
        return np.asarray(self._between(self.weight * x) / np.maximum(self.count, 1e-9), dtype=np.float64)

    def product(self, x: Floats, y: Floats) -> Floats:
        """Sum of the products of the deviations from the segment's means."""
        x, y = x - x.mean(), y - y.mean()
        joint = self._between(self.weight * x * y)
        first, second = self._between(self.weight * x), self._between(self.weight * y)
        return np.asarray(joint - first * second / np.maximum(self.count, 1e-9), dtype=np.float64)

    def square(self, x: Floats) -> Floats:
        """Sum of the squared deviations from the segment's mean."""
        return np.maximum(self.product(x, x), 0.0)

    def jitter(self, x: Floats) -> Floats:
        """What of `square` is quick noise: half the squared differences of neighbours (von Neumann 1941)."""
        steps = np.diff(x) ** 2 / 2.0
        # A jump is no noise: what is far above the usual counts as the usual.
        usual = _usual(steps)
        steps = np.concatenate([[0.0], np.minimum(steps, 4.0 * usual)])
        return np.maximum(self._between(self.weight * steps), 0.0)


def _noise(x: Floats, still: float, most: float) -> float:
    """Variance of a mean about a constant: from neighbours' differences, which steps hardly touch."""
    if x.size < 4:
        return still**2
    return min(max(_usual(np.diff(x) ** 2 / 2.0), still**2), most**2)


def _usual(squares: Floats) -> float:
    """The mean of what is left when the highest eighth is dropped, made up for normal noise (0.63 of it is left).

    A median would be nothing for a sensor in whole watts, which seldom moves.
    """
    if squares.size == 0:
        return 0.0
    low = np.sort(squares)[: max(1, int(0.875 * squares.size))]
    return float(low.mean()) / 0.55


def _slow(x: Floats, count: int = 9) -> Floats:
    """A moving mean over so many means, ends included."""
    total = np.concatenate([[0.0], np.cumsum(x)])
    at = np.arange(x.size)
    low, high = np.maximum(at - count // 2, 0), np.minimum(at + count // 2 + 1, x.size)
    return np.asarray((total[high] - total[low]) / (high - low), dtype=np.float64)


def chances(means: Means, elsewhere: Elsewhere) -> Floats:
    """The chance of every label of `KEPT` at every mean, shape (b, labels)."""
    scores = _segment_scores(means, elsewhere)
    return _marginals(scores)


def _segment_scores(means: Means, elsewhere: Elsewhere) -> Floats:
    """Log score of every label for every segment [i, j), shape (labels, b + 1, b + 1)."""
    b = means.size
    sums = _Sums(means.weight)
    size = np.maximum(sums.count, 1e-9)
    scores = np.full((len(KEPT), b + 1, b + 1), -np.inf)

    def misfit(squares: Floats, values: Floats, limits: tuple[float, float]) -> Floats:
        slow = np.maximum(squares - sums.jitter(values), 0.0)
        return np.asarray(-0.5 * _TEMPER * slow / _noise(values, *limits), dtype=np.float64)

    def about(values: Floats) -> Floats:
        return sums.mean(values)

    light = about(means.light)
    clock, power, celsius, amps = means.clock, means.power, means.celsius, means.amps
    found: dict[str, Floats] = {}
    if clock is not None:
        kept = misfit(sums.square(clock), clock, _STILL_CLOCK)
        below = np.zeros_like(size) if elsewhere.top_clock is None else elsewhere.top_clock - about(clock)
        short = np.clip((below - _AT_TOP) / 0.004, 0.0, 6.0) * (1.0 - light)
        found["free"] = kept - short
        found["other"] = kept - np.clip(6.0 - 1.0 * short, 0.0, 6.0) - 4.0 * light
    elif power is not None and celsius is not None:
        # Without the clock, free is told by power that climbs with the temperature.
        found["free"] = misfit(_along(sums, power, celsius, 0.0006, 0.008), power, _STILL_POWER) - 1.0
    if power is not None:
        found["power"] = misfit(sums.square(power), power, _STILL_POWER) - 1.5 * light
    elif clock is not None and celsius is not None:
        # Without power, a clock that gives way as the part warms is held by power or current.
        found["power"] = misfit(_along(sums, clock, celsius, -0.006, -0.0003), clock, _STILL_CLOCK) - 1.0
    # A flat temperature alone says nothing: something must be seen to give way.
    if celsius is not None and not (clock is None and power is None):
        level = about(celsius)
        top = level if elsewhere.top_celsius is None else elsewhere.top_celsius - level
        cool = 2.0 * np.clip((top - 2.5) / 1.5, 0.0, 3.0) + np.clip((65.0 - level) / 5.0, 0.0, 4.0)
        found["thermal"] = misfit(sums.square(celsius), celsius, _STILL_CELSIUS) - cool
        if power is not None:
            told = about(means.hints["thermal"]) if "thermal" in means.hints else np.zeros_like(size)
            doubt = np.clip(1.5 - 100.0 * _given(power, about(power)), 0.0, 1.0) * np.clip(1.0 - told, 0.0, 1.0)
            found["thermal"] = found["thermal"] - _KEEPS_ALL * doubt
    if amps is not None:
        found["current"] = misfit(sums.square(amps), amps, _STILL_POWER) + 1.0
    elif power is not None and clock is not None:
        left = _along(sums, power, _slow(clock), *_DIVIDES)
        found["current"] = misfit(left, power, _STILL_POWER) - 1.5 * light
    found["unknown"] = -_NOTHING * _TEMPER * size * 2.0
    for place, name in enumerate(KEPT):
        if name in found:
            hint = about(means.hints[name]) if name in means.hints else 0.0
            scores[place] = found[name] + _PRIOR[name] + hint + _SWITCH
    return scores


def _given(power: Floats, level: Floats) -> Floats:
    """How far the power of every segment lies below the highest of it and of just before it, shape (b + 1, b + 1).

    A part at its throttle point gives power away as its heatsink warms. One that settles under the power it had does
    not, however flat its temperature has become.
    """
    slow = _slow(power)
    size = power.size
    given = np.zeros_like(level)
    for i in range(size):
        first = max(0, i - _JUST_BEFORE)
        top = np.maximum.accumulate(slow[first:])[i - first :]
        given[i, i + 1 :] = top - level[i, i + 1 :]
    return given


def _along(sums: _Sums, y: Floats, x: Floats, least: float, most: float) -> Floats:
    """Squares of y left about a line in x whose slope lies in a range."""
    xx, xy, yy = sums.square(x), sums.product(x, y), sums.square(y)
    slope = np.clip(xy / np.maximum(xx, 1e-12), least, most)
    return np.maximum(yy - 2 * slope * xy + slope**2 * xx, 0.0)


def _marginals(scores: Floats) -> Floats:
    """Chances by mean from the scores of segments: forward, backward, and every segment's mass over its means."""
    edges = scores.shape[1]
    b = edges - 1
    whole = _log_sum(scores, axis=0)  # by segment, over labels
    forward = np.full(edges, -np.inf)
    backward = np.full(edges, -np.inf)
    forward[0] = backward[b] = 0.0
    for j in range(1, edges):
        forward[j] = np.logaddexp.reduce(forward[:j] + whole[:j, j])
    for i in range(b - 1, -1, -1):
        backward[i] = np.logaddexp.reduce(whole[i, i + 1 :] + backward[i + 1 :])
    valid = np.triu(np.ones((edges, edges), dtype=bool), 1)
    mass = np.where(valid, np.exp(np.minimum(scores + forward[:, None] + backward[None, :] - forward[b], 0.0)), 0.0)
    opens = mass.sum(axis=2)  # (labels, edges): mass that begins at an edge
    closes = mass.sum(axis=1)
    chance = np.cumsum(opens - closes, axis=1)[:, :b].T
    chance = np.clip(chance, 0.0, 1.0)
    return np.asarray(chance / np.maximum(chance.sum(axis=1, keepdims=True), 1e-12), dtype=np.float64)


def _log_sum(values: Floats, axis: int | None = None) -> Floats:
    top = np.max(values, axis=axis, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        total = np.log(np.sum(np.exp(values - top), axis=axis, keepdims=True)) + top
    return np.asarray(np.squeeze(total, axis=axis) if axis is not None else total.reshape(()), dtype=np.float64)


def step_edges(seconds: Floats, series: list[Floats], work: Mask, most: int = 24) -> Floats:
    """Times at which power or clock jumps and stays: the mean of the next seconds differs from that of the last."""
    n = seconds.size
    if n < 8:
        return np.zeros(0)
    size = np.zeros(n)
    for reach in (6.0, 14.0):
        before_low = np.searchsorted(seconds, seconds - reach, side="left")
        after_high = np.searchsorted(seconds, seconds + reach, side="left")
        here = np.arange(n)
        for values in series:
            there = np.isfinite(values) & work
            filled = np.where(there, values, 0.0)
            total = np.concatenate([[0.0], np.cumsum(filled)])
            count = np.concatenate([[0.0], np.cumsum(there)])
            n_before, n_after = count[here] - count[before_low], count[after_high] - count[here]
            with np.errstate(invalid="ignore", divide="ignore"):
                jump = np.abs(
                    (total[after_high] - total[here]) / n_after - (total[here] - total[before_low]) / n_before
                )
            jump = np.where((n_before >= 2) & (n_after >= 2), np.nan_to_num(jump), 0.0)
            noise = np.sqrt(_noise(values[there], 0.002, 0.05)) if there.sum() > 4 else 1.0
            size = np.maximum(size, np.where(jump > np.maximum(0.015, 3.0 * noise / np.sqrt(2.0)), jump, 0.0))
    edges: list[float] = []
    order = np.argsort(size)[::-1]
    for place in order[: 50 * most].tolist():
        if size[place] <= 0 or len(edges) >= most:
            break
        if all(abs(seconds[place] - edge) > 5.0 for edge in edges):
            edges.append(float(seconds[place]))
    return np.sort(np.array(edges))
