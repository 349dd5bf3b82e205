"""Clock, power or current: told apart by what moves as the part warms, though what moves is under one per cent."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.runs import Trace
from surefoot.thermal.as_it_warms import Kept, kept_while_warming
from surefoot.thermal.limiter import limiters

WARM = 45 + 30 * (1 - np.exp(-np.arange(900.0) / 150))


def kept(power_per_degree: float, clock_per_degree: float, *, step: float = 0.0, boost: float = 0.0) -> Kept:
    """A part of 60 W and 4 GHz that warms by 30 degrees, with 1 % of noise on both."""
    random = np.random.default_rng(5)
    power = 60.0 * np.exp(power_per_degree * (WARM - 75) + 0.01 * random.normal(size=WARM.size))
    power[: int(boost)] *= 1.4
    if step:
        power = np.round(power / step) * step
    clock = np.log(4000.0) + clock_per_degree * (WARM - 75) + 0.01 * random.normal(size=WARM.size)
    return kept_while_warming(np.log(power), clock, None, WARM, np.zeros(WARM.size, dtype=np.int64))


def test_what_moves_tells_what_is_kept() -> None:
    by_power = kept(0.0, -0.0008)
    assert by_power.power > max(by_power.current, by_power.clock) + 2
    by_current = kept(-0.0004, -0.0008)  # half of what the clock gives
    assert by_current.current > max(by_current.power, by_current.clock) + 2
    by_clock = kept(0.002, 0.0)
    assert by_clock.clock > max(by_clock.power, by_clock.current) + 2


def test_a_short_boost_at_the_start_is_no_falling_power() -> None:
    assert kept(0.0, -0.0008, boost=25).power > kept(0.0, -0.0008, boost=25).current + 1


def test_whole_watts_hide_which_of_two_it_is() -> None:
    """60 W in steps of 2 W without noise to carry it across: a current limit cannot be told, and neither is claimed."""
    power = np.full(WARM.size, np.log(60.0))
    clock = np.log(4000.0) - 0.0008 * (WARM - 75)
    found = kept_while_warming(power, clock, None, WARM, np.zeros(WARM.size, dtype=np.int64))
    fine = kept(0.0, -0.0008)
    assert abs(found.power - found.current) < min(2.0, fine.power - fine.current)


def test_a_part_that_did_not_warm_tells_nothing() -> None:
    flat = np.full(300, 60.0)
    zero = np.zeros(300, dtype=np.int64)
    assert kept_while_warming(np.log(flat), np.log(50 * flat), None, flat, zero) == Kept()


def test_a_few_sure_seconds_do_not_speak_for_a_run_that_could_not_be_judged() -> None:
    t = np.arange(900.0)
    reasons = np.where(t < 60, 0.0, np.nan)
    report = limiters(Trace(t, {"gpu.reasons": reasons}))["gpu"]
    assert report.share("unknown") > 0.9
    assert report.main == "unknown"


@pytest.mark.parametrize("watts", [0.0, -5.0])
def test_a_power_limit_that_cannot_be_is_no_reason_to_fail(watts: float) -> None:
    t = np.arange(400.0)
    channels = {
        "cpu.power": np.full(400, 55.0),
        "cpu.power-limit.long": np.full(400, watts),
        "cpu.power-flag": np.ones(400),
    }
    assert limiters(Trace(t, channels))["cpu"].main == "power"
