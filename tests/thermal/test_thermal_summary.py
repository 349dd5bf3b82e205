"""A trace as numbers for comparison."""

from __future__ import annotations

import numpy as np
import pytest
from made_traces import Part, run_part

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.summary import metric_unit, summarise, warm_up_minutes


def test_means_are_by_time_and_not_by_sample() -> None:
    """Ten samples a second apart, then ten that are ten seconds apart."""
    seconds = np.concatenate([np.arange(10.0), 10 + 10.0 * np.arange(10)])
    power = np.where(seconds < 9.5, 10.0, 50.0)
    metrics = summarise(Trace(seconds, {"cpu.power": power}), skip_minutes=0)
    gaps = np.minimum(np.diff(seconds), 5 * np.median(np.diff(seconds)))
    weight = np.zeros(20)
    weight[:-1] += gaps / 2
    weight[1:] += gaps / 2
    weight[0] += gaps[0] / 2
    weight[-1] += gaps[-1] / 2
    assert metrics["cpu.power.mean"] == pytest.approx(float((power * weight).sum() / weight.sum()))
    assert metrics["cpu.power.mean"] > 40


def test_energy_is_power_over_time() -> None:
    metrics = summarise(Trace(np.arange(600.0), {"cpu.power": np.full(600, 53.0)}), skip_minutes=0)
    assert metrics["cpu.power.energy"] == pytest.approx(53.0 * 600)
    assert metric_unit("cpu.power.energy") == "J"
    assert metric_unit("cpu.temperature.p95") == "°C"
    assert metric_unit("trace.minutes") == "min"


def test_the_warm_up_is_left_out() -> None:
    trace, _ = run_part(Part(), 20, seed=1)
    trimmed, whole = summarise(trace), summarise(trace, skip_minutes=0)
    assert 3 < trimmed["trace.skipped-minutes"] < 12
    assert trimmed["cpu.temperature.mean"] > whole["cpu.temperature.mean"] + 1
    assert trimmed["cpu.temperature.final"] == pytest.approx(trimmed["cpu.temperature.mean"], abs=1.0)
    assert trimmed["trace.minutes"] + trimmed["trace.skipped-minutes"] == pytest.approx(trace.duration_minutes, abs=0.1)


def test_a_trace_that_never_settles_keeps_its_second_half() -> None:
    t = np.arange(600.0)
    trace = Trace(t, {"cpu.temperature": 40 + t * 0.05})
    assert warm_up_minutes(trace) == pytest.approx(trace.duration_minutes / 2)


def test_cores_stand_for_the_whole_and_parts_keep_their_own() -> None:
    t = np.arange(100.0)
    trace = Trace(
        t,
        {
            "cpu.clock.core-0": np.full(100, 4000.0),
            "cpu.clock.core-1": np.full(100, 3000.0),
            "gpu.temperature.hotspot": np.full(100, 90.0),
            "fan.fan.left": np.full(100, 3200.0),
        },
    )
    metrics = summarise(trace, skip_minutes=0)
    assert metrics["cpu.clock.mean"] == 3500.0
    assert metrics["cpu.clock.core-0.mean"] == 4000.0
    assert metrics["gpu.temperature.hotspot.max"] == 90.0
    assert metrics["gpu.temperature.max"] == 90.0
    assert metrics["fan.fan.left.mean"] == 3200.0


def test_percentile_rule_is_the_linear_one() -> None:
    values = np.arange(101.0)
    metrics = summarise(Trace(np.arange(101.0), {"cpu.temperature": values}), skip_minutes=0)
    assert metrics["cpu.temperature.p95"] == pytest.approx(np.percentile(values, 95))


@pytest.mark.parametrize("skip", [-1.0, 100.0, float("nan")])
def test_a_skip_that_leaves_nothing_is_refused(skip: float) -> None:
    with pytest.raises(BadInput):
        summarise(Trace(np.arange(60.0), {"cpu.power": np.ones(60)}), skip_minutes=skip)


def test_nothing_measured_gives_nothing() -> None:
    assert summarise(Trace(np.zeros(0))) == {}
    metrics = summarise(Trace(np.arange(60.0), {"cpu.power": np.full(60, np.nan)}))
    assert "cpu.power.mean" not in metrics
