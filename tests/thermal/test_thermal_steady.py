"""Steady state: where a temperature ends, whether it is there, and whether the intervals are honest."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_machines import machines

from surefoot.errors import BadInput
from surefoot.thermal.fan import fan_series
from surefoot.thermal.steady import SteadyState, forecast_final, steady_state


def wandering(random: np.random.Generator, n: int, spread: float, seconds: float) -> np.ndarray:
    """Noise whose correlation falls to 1/e after so many seconds, at 1 Hz."""
    keep = math.exp(-1.0 / seconds)
    made = np.empty(n)
    made[0] = random.normal()
    for i in range(1, n):
        made[i] = keep * made[i - 1] + math.sqrt(1 - keep**2) * random.normal()
    return spread * made


def drawn_curve(seed: int, seconds: float, spread: float, correlation: float, step: float) -> tuple[np.ndarray, ...]:
    """A rise with two time constants drawn at random, with correlated noise and sensor steps; and its true end."""
    random = np.random.default_rng(seed)
    t = np.arange(0, seconds)
    if seed % 3 == 0:  # irregular sampling, some samples lost
        t = np.sort(random.uniform(0, seconds, int(seconds)))[random.random(int(seconds)) > 0.2]
    end, rise = random.uniform(60, 98), random.uniform(20, 55)
    fast = math.exp(random.uniform(math.log(3), math.log(50)))
    slow = math.exp(random.uniform(math.log(80), math.log(600)))
    share = random.uniform(0.3, 0.8)
    y = end - rise * (share * np.exp(-t / fast) + (1 - share) * np.exp(-t / slow))
    y = y + wandering(random, t.size, spread, correlation)
    return t, np.round(y / step) * step if step else y, np.array(end)


KINDS = ((0.3, 5.0, 1.0), (0.8, 20.0, 1.0), (0.05, 2.0, 1.0), (1.5, 10.0, 0.0))


def coverage(seeds: range, seconds: float) -> tuple[float, list[tuple[SteadyState, float]]]:
    states = []
    for seed in seeds:
        for spread, correlation, step in KINDS:
            t, y, end = drawn_curve(seed, seconds, spread, correlation, step)
            states.append((forecast_final(t, y), float(end)))
    inside = [state.low <= end <= state.high for state, end in states]
    return float(np.mean(inside)), states


@pytest.mark.parametrize("seconds", [180.0, 700.0])
def test_intervals_are_honest(seconds: float) -> None:
    """A 95 % interval covers the truth at least 90 % of the time, over kinds of noise and sampling."""
    share, states = coverage(range(7), seconds)
    assert share >= 0.90
    # And they are not honest by being useless: the estimate itself lands near.
    errors = [abs(state.final_celsius - end) for state, end in states]
    assert float(np.median(errors)) < (6.0 if seconds < 300 else 1.2)


@pytest.mark.long
@pytest.mark.parametrize("seconds", [120.0, 300.0, 600.0, 1200.0, 2400.0])
def test_intervals_are_honest_over_many_seeds(seconds: float) -> None:
    share, _ = coverage(range(100, 220), seconds)
    assert share >= 0.90


def test_stopping_at_the_first_sure_forecast_is_right_to_one_degree() -> None:
    """The guided session looks again and again and stops at the first yes: that must not fool it."""
    stopped, right, minutes = 0, 0, []
    for seed in range(8):
        t, y, end = drawn_curve(seed, 3000.0, 0.5, 10.0, 1.0)
        for elapsed in range(600, 3001, 480):
            part = t <= elapsed
            state = forecast_final(t[part], y[part])
            if state.within(1.0):
                stopped += 1
                right += abs(state.final_celsius - float(end)) <= 1.0
                minutes.append(elapsed / 60)
                break
    assert stopped >= 6
    assert right / stopped >= 0.90
    assert float(np.median(minutes)) < 45


def test_time_constants_are_recovered() -> None:
    """Known 8 s and 200 s, 1 degree steps and noise: recovered within a fifth."""
    random = np.random.default_rng(4)
    t = np.arange(1800.0)
    y = 90 - 25 * np.exp(-t / 8) - 20 * np.exp(-t / 200) + 0.3 * random.normal(size=t.size)
    state = steady_state(t, np.round(y))
    fast, slow = state.time_constants_seconds
    assert fast == pytest.approx(8, rel=0.2)
    assert slow == pytest.approx(200, rel=0.2)
    assert state.final_celsius == pytest.approx(90, abs=0.3)
    assert state.reached
    # Within 1 degree of the end when 20 exp(-t / 200) = 1: after 10.0 minutes.
    assert state.reached_minutes == pytest.approx(200 * math.log(20) / 60, abs=0.7)
    assert state.stop_minutes is not None
    # A chassis that has hardly begun to warm cannot be ruled out sooner.
    assert state.stop_minutes < 27


def test_a_lone_time_constant_is_told_as_one() -> None:
    random = np.random.default_rng(5)
    t = np.arange(1200.0)
    state = steady_state(t, 80 - 40 * np.exp(-t / 100) + 0.2 * random.normal(size=t.size))
    assert state.time_constants_seconds == pytest.approx((100.0,), rel=0.15)


def test_not_yet_there_is_said_with_what_remains() -> None:
    t = np.arange(240.0)
    random = np.random.default_rng(6)
    y = 95 - 30 * np.exp(-t / 10) - 25 * np.exp(-t / 400) + 0.2 * random.normal(size=t.size)
    state = steady_state(t, y)
    assert not state.reached
    assert state.reached_minutes is None
    assert state.remaining_celsius > 3
    assert state.drift_celsius_per_hour > 50
    assert not state.within(0.2)
    assert state.low < 95 < state.high


@pytest.mark.parametrize("seed", range(4))
def test_a_drop_of_the_power_limit_starts_the_stretch_anew(seed: int) -> None:
    """Short-term power for 40 s, then the long-term limit: the end is that of the second stretch."""
    random = np.random.default_rng(seed)
    t = np.arange(1500.0)
    first = 45 + 50 * (1 - np.exp(-t / 8))
    then = 77 + 18 * np.exp(-(t - 40) / 8) - 12 * np.exp(-(t - 40) / 250)
    state = steady_state(t, np.round(np.where(t < 40, first, then) + 0.4 * random.normal(size=t.size)))
    assert state.final_celsius == pytest.approx(77.0, abs=0.5)
    assert state.low <= 77.0 <= state.high


def test_a_ceiling_that_cuts_the_rise_off_is_where_it_ends() -> None:
    random = np.random.default_rng(8)
    t = np.arange(1200.0)
    y = np.minimum(95, 45 + 40 * (1 - np.exp(-t / 20)) + 25 * (1 - np.exp(-t / 300))) + 0.4 * random.normal(size=t.size)
    state = steady_state(t, np.round(y))
    assert state.reached
    assert state.final_celsius == pytest.approx(95, abs=0.5)


def test_a_long_day_ends_with_its_last_load() -> None:
    """Loads in turn for half an hour each: the end is that of the last, not the mean of the day."""
    random = np.random.default_rng(11)
    ends = [60.0, 85.0, 40.0] * 8 + [75.0]
    t = np.arange(1800.0 * len(ends))
    y, now = np.empty(t.size), 25.0
    for place, end in enumerate(ends):
        part = slice(place * 1800, (place + 1) * 1800)
        y[part] = end + (now - end) * np.exp(-np.arange(1800.0) / 150)
        now = end
    state = steady_state(t, np.round(y + 0.4 * random.normal(size=t.size)))
    assert state.final_celsius == pytest.approx(75.0, abs=0.5)
    assert state.fitted_from_minutes > t[-1] / 60 - 31


def test_a_load_that_swings_has_no_end() -> None:
    random = np.random.default_rng(12)
    t = np.arange(1800.0)
    y = 70 + 12 * np.sign(np.sin(t / 25)) + random.normal(size=t.size)
    state = steady_state(t, y)
    assert not state.reached
    assert "swings" in state.reason


def test_a_ramp_has_no_end_yet() -> None:
    t = np.arange(900.0)
    state = steady_state(t, 50 + t * 0.03)
    assert not state.reached
    assert not state.within(1.0)


def test_a_fall_after_the_load_is_a_rise_downward() -> None:
    t = np.arange(1200.0)
    state = steady_state(t, 35 + 50 * np.exp(-t / 90) + 0.1 * np.random.default_rng(2).normal(size=t.size))
    assert state.final_celsius == pytest.approx(35, abs=0.3)
    assert state.reached


def test_a_stuck_degree_still_has_half_a_step_of_doubt() -> None:
    state = steady_state(np.arange(600.0), np.full(600, 71.0))
    assert state.reached
    assert 0.25 <= state.half_width <= 1.0


def test_single_bad_reads_do_not_bend_it() -> None:
    random = np.random.default_rng(9)
    t = np.arange(1200.0)
    clean = 80 - 40 * np.exp(-t / 60) + 0.3 * random.normal(size=t.size)
    spoiled = clean.copy()
    spoiled[random.integers(0, 1200, 25)] = 0.0
    assert steady_state(t, spoiled).final_celsius == pytest.approx(steady_state(t, clean).final_celsius, abs=0.4)


@pytest.mark.parametrize("count", [0, 1, 5, 30])
def test_too_little_is_said_and_not_guessed(count: int) -> None:
    state = forecast_final(np.arange(float(count)), np.full(count, 60.0))
    assert not state.known
    assert not state.reached
    assert not state.within(100.0)
    assert str(count) in state.reason


def test_shapes_and_order_are_checked() -> None:
    with pytest.raises(BadInput, match="shape"):
        steady_state([0.0, 1.0], [1.0])
    with pytest.raises(BadInput, match="ascend"):
        steady_state([1.0, 0.0], [1.0, 2.0])
    with pytest.raises(BadInput, match="numbers"):
        steady_state(["a"], ["b"])


def body_curve(seed: int, minutes: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Die, heatsink and a chassis that warms in half an hour; 1 Hz, half-degree steps; and the true end."""
    random = np.random.default_rng(seed)
    t = np.arange(minutes * 60)
    rise, share = random.uniform(35, 60), random.uniform(0.06, 0.16)
    slow, body = random.uniform(90, 300), random.uniform(900, 2400)
    y = 24 + rise * (1 - 0.4 * np.exp(-t / 9) - (0.6 - share) * np.exp(-t / slow) - share * np.exp(-t / body))
    return t, np.round(2 * (y + wandering(random, t.size, 0.3, 5.0))) / 2, 24 + rise


def test_a_chassis_is_not_forgotten() -> None:
    inside, short = [], []
    for seed in range(14):
        t, y, end = body_curve(seed, 25.0)
        state = forecast_final(t, y)
        inside.append(state.low <= end <= state.high)
        short.append(end - state.final_celsius)
    assert float(np.mean(inside)) >= 0.85
    assert abs(float(np.mean(short))) < 1.5


def test_flat_for_five_minutes_is_settled_and_the_present_is_not_excluded() -> None:
    """A slow tail that fits a curve to somewhere else must not talk a flat temperature out of being there."""
    random = np.random.default_rng(21)
    t = np.arange(1200.0)
    y = np.where(t < 880, 70 + 6 * np.exp(-t / 300), 70.3) + 0.25 * random.normal(size=t.size)
    state = steady_state(t, np.round(y * 2) / 2)
    assert state.reached
    assert state.low <= state.now_celsius <= state.high
    falling = steady_state(t, 60 + 30 * np.exp(-t / 900) + 0.1 * random.normal(size=t.size))
    assert not falling.reached
    assert falling.high < falling.now_celsius


def test_a_step_of_the_fan_begins_another_stretch() -> None:
    random = np.random.default_rng(22)
    t = np.arange(1800.0)
    before = 85 - 40 * np.exp(-t / 150)
    after = 76 + 9 * np.exp(-(t - 1200) / 150)
    y = np.where(t < 1200, before, after) + 0.2 * random.normal(size=t.size)
    fan = np.where(t < 1200, 1500.0, 2400.0) + 10 * random.normal(size=t.size)
    state = steady_state(t, y, fan)
    assert state.fitted_from_minutes == pytest.approx(20, abs=0.5)
    assert state.low <= 76 <= state.high
    late = steady_state(t[:1260], y[:1260], fan[:1260])
    assert late.half_width > 4


def test_flat_for_five_minutes_is_not_settled_while_a_chassis_may_be_warming() -> None:
    """A machine with a chassis whose fan stepped eight minutes ago: flat, and yet six degrees short of its end."""
    made = machines("long-term", 20, 5, "held", chassis=True, fan_steps=True, minutes=15.0)
    one = next(one for one in made if abs(one.final_celsius - 72.7) < 0.05)
    state = forecast_final(one.trace.seconds, one.trace.channels["cpu.temperature"], fan_series(one.trace))
    assert state.now_celsius < 67.0
    assert not state.reached
