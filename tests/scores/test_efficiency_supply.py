"""Score per watt, watts at an equal score, and whether the supply keeps up."""

from __future__ import annotations

import math

import numpy as np
import pytest
from summary_metrics import summary_metric

from surefoot.runs import Reading, Score
from surefoot.scores.comparison import compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.efficiency import package_power, per_watt, watts_at_equal_score
from surefoot.scores.metrics import Metric, Sample, of_reading, of_score
from surefoot.scores.supply import battery_drain, check_supply, on_battery
from surefoot.units import Setting

POINTS = of_score(Score(name="render", value=1))
WALL = of_reading(Reading(kind="wall-power", value=1))
CPU, GPU = summary_metric("cpu.power.mean"), summary_metric("gpu.power.mean")
assert CPU is not None and GPU is not None


def configuration(name: str, depth: float = 0.0) -> Configuration:
    setting = Setting(values={"cpu-core": -depth})
    key = key_of(Parts(name, None, setting, "mixed", None))
    return Configuration(key, f"{name} {depth:g}", "", None, name, None, setting, "mixed", None)


FULL, EVENING, FULL_DEEP, EVENING_DEEP = (
    configuration("full"), configuration("evening"), configuration("full", 72), configuration("evening", 72),
)  # fmt: skip


def of(metric: Metric, one: Configuration, *values: float) -> list[Sample]:
    return [Sample(metric, one.key, value, run_id=i) for i, value in enumerate(values)]


def test_points_per_watt_use_the_runs_own_power() -> None:
    made = per_watt([*of(POINTS, FULL, 3600, 3480), *of(CPU, FULL, 72, 63), *of(GPU, FULL, 48, 57)])
    assert [one.value for one in made] == [30.0, 29.0]
    assert made[0].metric.unit == "points/W"
    assert made[0].metric.better == "higher"
    assert "packages" in made[0].metric.label


def test_wall_power_counts_where_every_scored_configuration_has_it() -> None:
    both = [*of(POINTS, FULL, 3900), *of(CPU, FULL, 78), *of(POINTS, EVENING, 2600), *of(CPU, EVENING, 39)]
    one_sided = per_watt([*both, Sample(WALL, FULL.key, 130.0, run_id=0)])
    assert [one.value for one in one_sided] == [50.0, pytest.approx(2600 / 39)]
    complete = per_watt([*both, Sample(WALL, FULL.key, 130.0), Sample(WALL, EVENING.key, 65.0)])
    assert [one.value for one in complete] == [30.0, 40.0]
    assert "wall" in complete[0].metric.label


def test_runs_without_their_own_power_are_left_out_where_others_have_it() -> None:
    some = per_watt([*of(POINTS, FULL, 3600, 3720, 3480), *of(CPU, FULL, 72, 60)])
    assert [(one.run_id, one.value) for one in some] == [(0, 50.0), (1, 62.0)]
    typed = per_watt([Sample(POINTS, FULL.key, 3900.0), *of(CPU, FULL, 78, 52)])
    assert [one.value for one in typed] == [60.0]
    assert "mean of its configuration" in typed[0].note


def test_runs_with_different_parts_measured_have_no_common_package_power() -> None:
    assert package_power([*of(CPU, FULL, 72), *of(GPU, FULL, 48), *of(CPU, EVENING, 36)]) == []


def test_scores_without_power_and_times_have_no_efficiency() -> None:
    assert per_watt(of(POINTS, FULL, 3000)) == []
    seconds = of_score(Score(name="build", value=1, unit="s", higher_is_better=False))
    assert per_watt([*of(seconds, FULL, 100), *of(CPU, FULL, 72)]) == []


def test_watts_at_equal_score() -> None:
    samples = [
        *of(POINTS, FULL, 3000), *of(WALL, FULL, 100),
        *of(POINTS, FULL_DEEP, 3200), *of(WALL, FULL_DEEP, 100),
        *of(POINTS, EVENING_DEEP, 2600), *of(WALL, EVENING_DEEP, 60),
        *of(POINTS, EVENING, 2700), *of(WALL, EVENING, 80),
    ]  # fmt: skip
    got = {
        one.configuration: one
        for one in watts_at_equal_score(compare([FULL, EVENING, FULL_DEEP, EVENING_DEEP], samples), "render")
    }
    deep = got[FULL_DEEP.key]
    assert deep.how == "interpolated"
    part = math.log(3000 / 2600) / math.log(3200 / 2600)
    assert deep.watts == pytest.approx(60 * (100 / 60) ** part)
    assert (deep.score, deep.baseline_watts) == (3000, 100)
    # The baseline's setting in another mode is the baseline at its score; a setting is answered once, not once a mode.
    assert set(got) == {FULL_DEEP.key}
    alone = watts_at_equal_score(compare([FULL, FULL_DEEP], samples), "render")[0]
    assert (alone.how, alone.watts) == ("scaled", pytest.approx(100 * 3000 / 3200))
    assert "in proportion" in alone.words


def test_no_power_no_watts_at_equal_score() -> None:
    assert watts_at_equal_score(compare([FULL, EVENING], of(POINTS, FULL, 1)), "render") == ()


def test_supply_verdicts() -> None:
    assert check_supply("k", 204, 312, None).verdict == "enough"
    assert check_supply("k", 332, 312, None).verdict == "near its rating"
    assert check_supply("k", 380, 312, None).verdict == "beyond its rating"
    assert check_supply("k", 204, 312, 8.0).verdict == "battery drains"
    assert check_supply("k", None, 312, 0.0).verdict == "enough"
    unknown = check_supply("k", 204, None, None)
    assert unknown.verdict == "not known"
    assert "supply_watts" in unknown.words


def test_battery_drain_per_hour() -> None:
    minutes = np.linspace(0, 30, 31)
    assert battery_drain(minutes, 100 - minutes / 10) == pytest.approx(6.0)
    assert battery_drain(minutes, np.full(31, 98.0)) == 0.0
    assert battery_drain(minutes, 90 + minutes / 10) == 0.0
    assert battery_drain([0, 2], [100, 90]) is None
    assert battery_drain([0, 10], [100, math.nan]) is None


def test_on_battery() -> None:
    assert on_battery("Battery") and on_battery("unplugged")
    assert not on_battery("adapter 312 W") and not on_battery(None)
