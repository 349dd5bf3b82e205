"""Whether a temperature has settled, where it will end, and when one could have stopped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.thermal.fan import fan_changes
from surefoot.thermal.rise import Binned, Effort, Rise, binned, fit_rise

NEAR_CELSIUS = 1.0
"""Settled means: within this of the end value."""

SHORTEST_SECONDS = 45.0
"""No forecast from less: the first seconds only show the chip, not its heatsink."""

_DETAIL_SECONDS = 9000.0  # beyond 2.5 h a trace says nothing more of its warm-up
_FEWEST = 12
_WIDEST_SETTLED = 3.0  # an end known no better than this is not called settled
_EXTRAPOLATION = 0.33  # of what is still to come
_UNSEEN_SHARE, _UNSEEN_SECONDS = 0.08, 1800.0  # of the rise: what a chassis whose node was not yet seen may add
_STILL_CELSIUS, _STILL_SECONDS = 0.3, 300.0  # flat within so much for so long is settled
_SLOW_NODE_SECONDS, _HIDES_SECONDS = 500.0, 900.0
_FAN_LEAST_SECONDS, _FAN_SPIN_SECONDS = 120.0, 12.0  # to see of a fan's step; until it has its new speed
_FAN_STEP_SHARE = 0.12  # of the rise: what one step of a fan may take off it (common practice, no source)
_SWINGING = 5.0  # degrees about the curve: the load is not constant, and there is no one end

_Interval: TypeAlias = tuple[float, float]


@dataclass(frozen=True)
class SteadyState:
    """Where a temperature is going and whether it is there. Temperatures in Celsius, intervals at 95 %.

    ``final_celsius`` with ``low`` and ``high``: the value at which it settles under the load of the end of the series
    (NaN and infinite when nothing can be said); ``now_celsius``: the curve at the last sample;
    ``remaining_celsius``: final less now; ``reached``: the interval of what remains is within 1 degree of nothing;
    ``drift_celsius_per_hour``: slope of the curve at the end; ``time_constants_seconds``: one or two, () when the
    temperature stands still or they cannot be told; ``reached_minutes``: when the curve came within 1 degree of its
    end, None when it did not or never left; ``stop_minutes``: after how many minutes the forecast was good to 1 degree
    and stayed so, None when it never was; ``fitted_from_minutes``: where the last stretch of constant load begins;
    ``noise_celsius``: of one sample about the curve; ``reason``: the state in one sentence.
    """

    reached: bool
    final_celsius: float
    low: float
    high: float
    now_celsius: float
    remaining_celsius: float
    remaining_low: float
    remaining_high: float
    drift_celsius_per_hour: float
    time_constants_seconds: tuple[float, ...]
    reached_minutes: float | None
    stop_minutes: float | None
    fitted_from_minutes: float
    noise_celsius: float
    samples: int
    minutes: float
    reason: str

    @property
    def known(self) -> bool:
        """Whether there is a forecast at all."""
        return math.isfinite(self.final_celsius)

    @property
    def half_width(self) -> float:
        """The larger distance from the final value to an end of its interval, degrees."""
        if not self.known:
            return math.inf
        return max(self.high - self.final_celsius, self.final_celsius - self.low)

    def within(self, degrees: float) -> bool:
        """Whether the end value is known to within so many degrees either way (95 %): one may stop waiting."""
        return self.known and self.half_width <= degrees


def steady_state(seconds: ArrayLike, celsius: ArrayLike, fan: ArrayLike | None = None) -> SteadyState:
    """Judge a whole series: ``seconds`` ascending, shape (n,), ``celsius`` of the same shape, NaN where not measured.

    ``fan``: speed in rpm, shape (n,), of the fan that cools it, where measured: each of its steps is another cooling.
    The load is taken to be constant over the last stretch; what came before a change of regime is left out of the
    fit. Raises BadInput for shapes that differ or times that run backwards. Source: lumped capacitance, see `rise`.
    """
    times, values = _checked(seconds, celsius)
    steps = _fan_steps(seconds, fan)
    state = _judge(times, values, steps=steps)
    if not state.known:
        return state
    stop = _stop_minutes(times, values, state)
    return _with(state, stop_minutes=stop)


def forecast_final(
    seconds: ArrayLike, celsius: ArrayLike, fan: ArrayLike | None = None, *, one_load: bool = False
) -> SteadyState:
    """The end value from what there is so far, for use while a load runs; `stop_minutes` is not looked for.

    ``forecast_final(...).within(1.0)`` tells that a baseline may be stopped early. Same arguments as `steady_state`.
    ``one_load``: the whole series is known to be under one load, so no change of regime is looked for.
    """
    times, values = _checked(seconds, celsius)
    start = float(times[0]) if one_load and times.size else None
    return _judge(times, values, "middle" if one_load else "full", start, _fan_steps(seconds, fan))


def _fan_steps(seconds: ArrayLike, fan: ArrayLike | None) -> list[float]:
    """Times at which the fan went over to another speed."""
    if fan is None:
        return []
    return fan_changes(np.asarray(seconds, dtype=np.float64), np.asarray(fan, dtype=np.float64))


def _checked(seconds: ArrayLike, celsius: ArrayLike) -> tuple[Floats, Floats]:
    try:
        times = np.asarray(seconds, dtype=np.float64)
        values = np.asarray(celsius, dtype=np.float64)
    except (TypeError, ValueError):
        raise BadInput("a steady state needs numbers: seconds and degrees Celsius.") from None
    if times.ndim != 1 or times.shape != values.shape:
        raise BadInput(f"seconds have shape {times.shape} and temperatures {values.shape}; both must be one row.")
    if not np.isfinite(times).all() or (np.diff(times) < 0).any():
        what = "the times of a temperature series must be finite and ascend."
        raise BadInput(what, remedy="Sort the samples by time.")
    there = np.isfinite(values) & (np.abs(values) < 1000.0)
    return times[there], values[there]


def _judge(
    times: Floats, values: Floats, effort: Effort = "full", start: float | None = None, steps: Sequence[float] = ()
) -> SteadyState:
    n = times.size
    span = float(times[-1] - times[0]) if n else 0.0
    if n < _FEWEST or span < SHORTEST_SECONDS:
        return _unknown(times, values, f"{n} samples over {span:.0f} s are too few to say where it ends")
    step = quantum(values)
    if start is None:
        start = _last_regime(times, values)
    # Another fan speed is another end: what came before its last step that left time to see is another regime.
    usable = [moment for moment in steps if times[-1] - moment >= _FAN_LEAST_SECONDS]
    if usable:
        start = max(start, usable[-1] + _FAN_SPIN_SECONDS)
    stretch = _since(times, values, start)
    rise = fit_rise(stretch, effort, _whole_rise(values))
    if rise is None:
        return _unknown(times, values, "the load changed too shortly before the end to say where it goes")
    described = _described(times, values, rise, step)
    return _with_fan(described, values, len(steps), len(usable)) if steps else described


def _with_fan(state: SteadyState, values: Floats, steps: int, usable: int) -> SteadyState:
    """Widened by a fan that may step again: when it warms past where it was, or stepped too lately to be seen."""
    a_step = _FAN_STEP_SHARE * abs(_whole_rise(values))
    low, high = state.low, state.high
    if steps > usable:
        low, high = low - a_step, high + a_step
    elif state.final_celsius > float(np.percentile(values, 98)) + 0.5:
        low -= a_step
    if (low, high) == (state.low, state.high):
        return state
    changed = _with(
        state,
        low=low,
        high=high,
        remaining_low=state.remaining_low + low - state.low,
        remaining_high=state.remaining_high + high - state.high,
    )
    return _with(changed, reason=_reason(changed))


def _whole_rise(values: Floats) -> float:
    """From the lowest to the highest of the series, negative where the highest comes first."""
    low, high = (float(one) for one in np.percentile(values, (2, 98)))
    tenth = max(1, values.size // 10)
    return math.copysign(high - low, float(values[-tenth:].mean() - values[:tenth].mean()))


def _described(times: Floats, values: Floats, rise: Rise, step: float) -> SteadyState:
    end = float(times[-1])
    sample_noise = _sample_noise(times, values, rise)
    blind = quantisation_error(step, sample_noise) ** 2
    m = rise.weight.size
    ones = np.ones((m, 1))
    final = rise.functional(np.hstack([ones, np.zeros((m, 3))]), blind + rise.grid_variance(end))
    decays = rise.decays(end)
    between = rise.grid_variance(end)
    remaining = rise.functional(np.hstack([np.zeros((m, 1)), -decays]), between)
    middle, low, high = final.quantiles(0.5, 0.025, 0.975)
    left, left_low, left_high = remaining.quantiles(0.5, 0.025, 0.975)
    still = _stands_still(times, values, rise)
    # What is still to come is extrapolated: no model of a machine's nodes is right to better than a third of it.
    more = _EXTRAPOLATION * abs(left)
    low, high = middle - math.hypot(middle - low, more), middle + math.hypot(high - middle, more)
    left_low, left_high = left - math.hypot(left - left_low, more), left + math.hypot(left_high - left, more)
    add = _unseen(rise, end, _whole_rise(values))
    # Flat for five minutes is settled, unless the load or the fan changed so lately that a slow node hides in it.
    still = still and (end - rise.start >= _HIDES_SECONDS or abs(add) <= NEAR_CELSIUS)
    if not still:
        low, high = low + min(add, 0.0), high + max(add, 0.0)
        left_low, left_high = left_low + min(add, 0.0), left_high + max(add, 0.0)
    now = middle - left
    if still or abs(left) < NEAR_CELSIUS:
        # Nothing was seen to move: that it stays where it is cannot be left out.
        low, high = min(low, now - more), max(high, now + more)
        left_low, left_high = min(left_low, 0.0), max(left_high, 0.0)
    with np.errstate(invalid="ignore"):
        rates = np.nan_to_num(-decays / rise.taus, nan=0.0)
    drift = rise.functional(np.hstack([np.zeros((m, 1)), rates])).quantiles(0.5)[0] * 3600.0
    near = (
        left_low >= -NEAR_CELSIUS and left_high <= NEAR_CELSIUS and max(high - middle, middle - low) <= _WIDEST_SETTLED
    )
    reached = (near or still) and sample_noise <= _SWINGING
    from_minutes = float(rise.start - times[0]) / 60.0 if rise.start - times[0] > 1.0 else 0.0
    state = SteadyState(
        reached=bool(reached),
        final_celsius=middle,
        low=low,
        high=high,
        now_celsius=middle - left,
        remaining_celsius=left,
        remaining_low=left_low,
        remaining_high=left_high,
        drift_celsius_per_hour=drift,
        time_constants_seconds=_time_constants(rise),
        reached_minutes=_reached_minutes(times, rise, middle) if reached else None,
        stop_minutes=None,
        fitted_from_minutes=from_minutes,
        noise_celsius=sample_noise,
        samples=int(times.size),
        minutes=float(times[-1] - times[0]) / 60.0,
        reason="",
    )
    return _with(state, reason=_reason(state))


def _unseen(rise: Rise, end: float, whole: float) -> float:
    """Degrees that a slow node may still add, the sign of the rise: as far as the samples leave room for such a node.

    Its time constant is longer than most runs, so that its prior decides; the prior is of parts in general, and the
    machine in hand may have a heavier chassis than that.
    """
    with np.errstate(invalid="ignore"):
        slow = np.nan_to_num(rise.taus, nan=0.0).max(axis=1) >= _SLOW_NODE_SECONDS
    chance = float(rise.weight[slow].sum())
    return _UNSEEN_SHARE * whole * chance * math.exp(-max(end - rise.start, 0.0) / _UNSEEN_SECONDS)


def _stands_still(times: Floats, values: Floats, rise: Rise) -> bool:
    """Whether the last five minutes lie within 0.3 degrees: their means over thirds, less what noise does to a mean."""
    last = times >= times[-1] - _STILL_SECONDS
    if times[-1] - times[0] < 0.98 * _STILL_SECONDS or rise.start > times[-1] - 0.9 * _STILL_SECONDS or last.sum() < 9:
        return False
    seconds, celsius = times[last], values[last]
    centred = seconds - seconds.mean()
    across = float(centred @ centred)
    if across <= 0:
        return False
    slope = float(centred @ (celsius - celsius.mean())) / across
    moved = abs(slope) * float(seconds[-1] - seconds[0])
    thirds = [float(part.mean()) for part in np.array_split(celsius, 3)]
    noise = float(np.std(celsius - celsius.mean() - slope * centred)) / math.sqrt(celsius.size / 3)
    return moved <= _STILL_CELSIUS and max(thirds) - min(thirds) <= _STILL_CELSIUS + 2.0 * min(noise, 0.05)


def _reason(state: SteadyState) -> str:
    half = state.half_width
    if state.reached and abs(state.remaining_celsius) > 0.5:
        return (
            f"settled at {state.now_celsius:.1f} °C, flat for five minutes; a slow part, as a chassis, may yet take "
            f"it to {state.final_celsius:.1f} °C (95 %: {state.low:.1f} to {state.high:.1f})"
        )
    if state.reached:
        return (
            f"settled at {state.final_celsius:.1f} °C (95 %: {state.low:.1f} to {state.high:.1f}), "
            f"drifting {state.drift_celsius_per_hour:+.1f} °C an hour at the end"
        )
    if state.noise_celsius > _SWINGING:
        return (
            f"swings by {state.noise_celsius:.0f} °C about {state.now_celsius:.0f} °C: the load is not constant, so "
            "there is no end to settle at"
        )
    if half <= 10.0:
        return (
            f"not settled: {state.now_celsius:.1f} °C now, forecast to end at {state.final_celsius:.1f} °C "
            f"(95 %: {state.low:.1f} to {state.high:.1f})"
        )
    return f"not settled: {state.now_celsius:.1f} °C now, and too early to say where it ends"


def _unknown(times: Floats, values: Floats, why: str) -> SteadyState:
    now = float(np.median(values[-5:])) if values.size else math.nan
    return SteadyState(
        reached=False,
        final_celsius=math.nan,
        low=-math.inf,
        high=math.inf,
        now_celsius=now,
        remaining_celsius=math.nan,
        remaining_low=-math.inf,
        remaining_high=math.inf,
        drift_celsius_per_hour=math.nan,
        time_constants_seconds=(),
        reached_minutes=None,
        stop_minutes=None,
        fitted_from_minutes=0.0,
        noise_celsius=math.nan,
        samples=int(times.size),
        minutes=float(times[-1] - times[0]) / 60.0 if times.size else 0.0,
        reason=why,
    )


def _with(state: SteadyState, **changes: object) -> SteadyState:
    from dataclasses import replace

    return replace(state, **changes)  # type: ignore[arg-type]


def quantum(values: Floats) -> float:
    """The step of the sensor in degrees: 1, 0.5, 0.25, 0.125 or 0.1 where the values lie on such a grid, else 0."""
    some = values[:: max(1, values.size // 2000)]
    for step in (1.0, 0.5, 0.25, 0.125, 0.1):
        off = np.abs(some / step - np.round(some / step))
        if float((off < 1e-3).mean()) > 0.95:
            return step
    return 0.0


def quantisation_error(step: float, noise: float) -> float:
    """What rounding leaves in a mean, degrees: nothing when noise carries the values across steps, else the rounding.

    The error of the mean of a rounded signal with Gaussian noise falls off as exp(-2 pi^2 (noise / step)^2): the first
    term of the Fourier series of the rounding error (Widrow and Kollar, Quantization Noise; from memory).
    """
    if step <= 0:
        return 0.0
    true_noise = math.sqrt(max(noise**2 - step**2 / 12.0, 0.0))
    left = step / math.sqrt(12.0) * math.exp(-2.0 * math.pi**2 * (true_noise / step) ** 2)
    # Noise that is itself slow does not carry the values across steps evenly: keep an eighth of a step.
    return max(left, step / 8.0)


def _sample_noise(times: Floats, values: Floats, rise: Rise) -> float:
    part = times >= rise.start
    if part.sum() > 1000:
        part &= np.arange(times.size) % (int(part.sum()) // 500) == 0
    return float(np.std(values[part] - rise.curve(times[part])))


def _time_constants(rise: Rise) -> tuple[float, ...]:
    """Of the models that carry the mixture: up to three or none, as weighted geometric means.

    A term counts when it moves the temperature by more than a tenth of the larger one, and by half a degree: between
    the points of the grid a small second term only mends the first.
    """
    amplitudes = np.abs(np.where(np.isfinite(rise.taus), rise.coefficients[:, 1:], 0.0))
    least = np.maximum(0.1 * amplitudes.max(axis=1, keepdims=True), 0.5)
    counts = amplitudes > least
    count = counts.sum(axis=1)
    terms = int(np.argmax([float(rise.weight[count == terms].sum()) for terms in (0, 1, 2, 3)]))
    if terms == 0:
        return ()
    of = count == terms
    weight = rise.weight[of] / rise.weight[of].sum()
    logs = np.sort(np.log(np.where(counts[of], rise.taus[of], np.nan)), axis=1)  # NaN sorts last
    return tuple(float(np.exp((weight * logs[:, place]).sum())) for place in range(terms))


def _reached_minutes(times: Floats, rise: Rise, final: float) -> float | None:
    grid = np.linspace(max(rise.start, float(times[0])), float(times[-1]), 600)
    away = np.abs(rise.curve(grid) - final) > NEAR_CELSIUS
    if not away.any():
        return float(grid[0] - times[0]) / 60.0
    last = int(np.flatnonzero(away)[-1])
    return float(grid[min(last + 1, grid.size - 1)] - times[0]) / 60.0


def _stop_minutes(times: Floats, values: Floats, state: SteadyState) -> float | None:
    """The earliest time from which every forecast was sure to 1 degree, and right by the end's light."""
    span = min(float(times[-1] - times[0]), _DETAIL_SECONDS * 2)
    first = max(SHORTEST_SECONDS * 2, state.fitted_from_minutes * 60.0 + SHORTEST_SECONDS)
    if first >= span:
        return state.minutes if state.within(NEAR_CELSIUS) else None
    found = None
    start = float(times[0]) + state.fitted_from_minutes * 60.0
    for elapsed in np.geomspace(first, span, 14)[::-1].tolist():
        part = times <= times[0] + elapsed
        whole = elapsed >= times[-1] - times[0] - 1e-6
        seen = state if whole else _judge(times[part], values[part], "middle", start)
        if not seen.within(NEAR_CELSIUS) or abs(seen.final_celsius - state.final_celsius) > 1.5 * NEAR_CELSIUS:
            break
        found = elapsed / 60.0
    return found


def _since(times: Floats, values: Floats, start: float) -> Binned:
    part = times >= start
    return binned(times[part], values[part])


_SHORTEST_LOOK = 300.0  # seconds of a long series that may stand for its last regime


def _last_regime(times: Floats, values: Floats) -> float:
    """Where the last stretch that one rise explains begins, in seconds.

    Tried from several starts: the earliest one whose fit is about as good as the best. A change of power limit, a
    throttling corner or a ramp before it would otherwise bend the whole curve.
    """
    first, last = float(times[0]), float(times[-1])
    span = last - first
    shortest = max(min(0.2 * span, _SHORTEST_LOOK), SHORTEST_SECONDS)
    early = [0.0, 20.0, 45.0, 90.0, 150.0, *(share * span for share in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8))]
    late = [span - length for length in np.geomspace(_SHORTEST_LOOK, 7200.0, 13) if 0.2 * span > _SHORTEST_LOOK]
    usual = float(np.median(np.diff(times))) if times.size > 1 else 1.0
    common = max(min(span / 160, 15.0), usual)
    looks: list[_Look] = []
    worse = 0
    # From the shortest look backward: once the looks get worse and worse, what lies before is another regime.
    for age in sorted({max(age, 0.0) for age in (*early, *late) if span - age >= shortest}, reverse=True):
        stretch = _since(times, values, first + age)
        rise = fit_rise(stretch, "quick") if stretch.middle.size >= 10 else None
        if rise is None:
            continue
        spent = min(5.0, stretch.middle.size / 3)
        honest = math.sqrt(stretch.middle.size / (stretch.middle.size - spent))
        looks.append(
            _Look(age, _sample_noise(times, values, rise) * honest, _slow_noise(stretch, rise, common) * honest)
        )
        best = min(look.noise for look in looks)
        worse = worse + 1 if looks[-1].noise > max(2.5 * best, 1.0) else 0
        if worse >= 4:
            break
    if not looks:
        return first
    # Rounded values that stand still look quieter than they are: a look at a moving stretch may be that much noisier.
    most = max(1.4 * min(look.noise for look in looks), 0.35 + 0.3 * quantum(values))
    most_slow = max(1.35 * min(look.slow for look in looks), 0.3)
    fitting = [look.age for look in looks if look.noise <= most and look.slow <= most_slow]
    return first + min(fitting) if fitting else first + looks[0].age


@dataclass(frozen=True)
class _Look:
    """One try at the last regime: its start, and what is left of samples and of their means over some seconds."""

    age: float
    noise: float
    slow: float


def _slow_noise(stretch: Binned, rise: Rise, seconds: float) -> float:
    """The spread about the curve of means over so many seconds: noise averages out there, misfit does not."""
    left = stretch.celsius - rise.curve(stretch.middle)
    group = np.floor((stretch.middle - stretch.middle[0]) / max(seconds, stretch.width)).astype(np.int64)
    counts = np.bincount(group)
    means = np.bincount(group, weights=left)[counts > 0] / counts[counts > 0]
    return float(np.std(means))
