"""The comparison: what is called real, and what never is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats
from summary_metrics import summary_metric

from surefoot.errors import BadInput
from surefoot.runs import Reading, Score
from surefoot.scores.comparison import REAL, Comparison, LimiterShare, compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.metrics import Metric, Sample, of_reading, of_score, of_summary
from surefoot.units import Setting

POINTS = of_score(Score(name="render", value=1))
LOW = of_score(Score(name="scene: 1 % low (percentile)", value=1, unit="fps"))
CPU = summary_metric("cpu.temperature.mean")
assert CPU is not None
SOUND = of_reading(Reading(kind="sound", value=40, place="ear"))


def configuration(depth: float, load: str = "mixed", **more: Any) -> Configuration:
    setting = Setting(values={"cpu-core": -depth})
    name = f"cpu-core {-depth:g} mV {load}"
    return Configuration(
        key_of(Parts(None, None, setting, load, None)), name, name, None, None, None, setting, load, None, **more
    )


STOCK, DEEP, DEEPER = configuration(0), configuration(60), configuration(85)


def samples(metric: Metric, one: Configuration, values: list[float] | np.ndarray, **more: Any) -> list[Sample]:
    # In turns, as a tester who knows of drift takes them.
    place = int(one.setting.value("cpu-core") * -1) + (500 if one.load == "gpu" else 0)
    return [Sample(metric, one.key, float(value), run_id=1000 * i + place, **more) for i, value in enumerate(values)]


def pair(a: np.ndarray | list[float], b: np.ndarray | list[float], metric: Metric = POINTS) -> Comparison:
    return compare([STOCK, DEEP], [*samples(metric, STOCK, a), *samples(metric, DEEP, b)])


def test_sentences_quote_the_names_of_configurations() -> None:
    """A name may hold commas and the word "and": unquoted, nobody sees where it ends."""
    odd = replace(DEEP, name="evening, feet up and lid open")
    runs = [*samples(POINTS, STOCK, [1, 2]), *samples(POINTS, odd, [3, 4])]
    got = compare([STOCK, odd], runs)
    assert any("“evening, feet up and lid open”" in text for text in got.taken)
    single = compare([STOCK, odd], [*runs[:1], runs[-1]])
    assert any(f": “{STOCK.name}” and “{odd.name}”." in note for note in single.notes)


def test_a_real_gain_has_its_interval_and_direction() -> None:
    got = pair([5120, 5110, 5130, 5125], [5480, 5475, 5485, 5490]).cell("render", DEEP.key)
    assert got is not None and got.gain is not None
    assert (got.verdict, got.is_real, got.runs) == ("better", True, 4)
    theirs = stats.ttest_ind([5480, 5475, 5485, 5490], [5120, 5110, 5130, 5125], equal_var=False)
    assert got.gain.p_value == pytest.approx(theirs.pvalue)
    # In turns a drift adds nothing to so large a difference: the interval is Welch's.
    assert got.gain.low == pytest.approx(theirs.confidence_interval().low)
    assert got.gain.percent == pytest.approx(100 * 361.25 / 5121.25)
    assert got.gain.low_percent < got.gain.percent < got.gain.high_percent
    assert got.taken == "in turns" and got.gain.p_adjusted >= got.gain.drift_p > got.gain.p_value


@pytest.mark.parametrize("metric", [POINTS, LOW], ids=["welch", "bootstrap"])
def test_draws_from_one_distribution_are_called_different_at_most_one_in_twenty(metric: Metric) -> None:
    rng = np.random.default_rng(20260105)
    count = 1000
    called = 0
    for _ in range(count):
        a, b = rng.normal(3000, 30, 5), rng.normal(3000, 30, 5)
        cell = pair(a, b, metric).cell(metric.name, DEEP.key)
        assert cell is not None
        called += cell.is_real
    # 0.05 plus two standard errors of a share of 1000 draws.
    assert called / count <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / count)


def test_three_configurations_alike_give_a_false_finding_at_most_one_time_in_twenty() -> None:
    rng = np.random.default_rng(7)
    count, found = 600, 0
    for _ in range(count):
        drawn = [s for one in (STOCK, DEEP, DEEPER) for s in samples(POINTS, one, rng.normal(3000, 30, 4))]
        row = compare([STOCK, DEEP, DEEPER], drawn).row("render")
        assert row is not None
        found += any(cell.is_real for cell in row.cells)
    assert found / count <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / count)


@pytest.mark.parametrize("metric", [POINTS, LOW], ids=["welch", "bootstrap"])
def test_a_true_gain_of_three_percent_at_one_percent_spread_is_found(metric: Metric) -> None:
    rng = np.random.default_rng(3)
    found = []
    for _ in range(300):
        cell = pair(rng.normal(3000, 30, 5), rng.normal(3090, 30.9, 5), metric).cell(metric.name, DEEP.key)
        assert cell is not None
        found.append(cell.verdict == "better")
    # Noncentral t, 8 degrees, 3 / sqrt(2 / 5) = 4.74: power 0.98; a little goes to the drift that is allowed for.
    assert np.mean(found) >= 0.9


def test_one_run_is_shown_and_never_called_real() -> None:
    got = pair([4400], [5500])
    cell = got.cell("render", DEEP.key)
    assert cell is not None and cell.gain is not None
    assert (cell.verdict, cell.is_real) == ("one run", False)
    assert cell.gain.percent == pytest.approx(25.0)
    assert math.isnan(cell.gain.p_value)
    assert any("One run only" in note for note in got.notes)
    many = pair([4400, 4401, 4402, 4399], [5500]).cell("render", DEEP.key)
    assert many is not None and many.verdict == "one run"


def test_values_of_one_run_count_once() -> None:
    repeated = [Sample(POINTS, DEEP.key, value, run_id=7) for value in (3500, 3501, 3502)]
    cell = compare([STOCK, DEEP], [*samples(POINTS, STOCK, [4400, 4401]), *repeated]).cell("render", DEEP.key)
    assert cell is not None
    assert (cell.runs, cell.mean, cell.verdict) == (1, 3501, "one run")


def test_equal_readings_do_not_make_a_certainty() -> None:
    # Three times 41 and three times 42 dB(A), read in whole dB: a spread of the rounding is taken, not of nothing.
    cell = pair([41, 41, 41], [42, 42, 42]).cell("render", DEEP.key)
    assert cell is not None and cell.gain is not None
    assert math.isfinite(cell.gain.low) and cell.gain.low < 1 < cell.gain.high
    same = pair([41, 41, 41], [41, 41, 41]).cell("render", DEEP.key)
    assert same is not None and same.verdict == "not shown"


def test_the_interval_leaves_out_nothing_exactly_when_the_difference_is_real() -> None:
    rng = np.random.default_rng(11)
    for metric in (POINTS, LOW):
        for _ in range(60):
            drawn = [
                s
                for shift, one in enumerate((STOCK, DEEP, DEEPER))
                for s in samples(metric, one, rng.normal(3000 + 25 * shift, 30, 5))
            ]
            for cell in compare([STOCK, DEEP, DEEPER], drawn).rows[0].cells:
                if cell.gain:
                    assert cell.is_real == (cell.gain.low > 0 or cell.gain.high < 0)
                    assert cell.gain.p_adjusted >= cell.gain.p_value


def test_lows_go_by_the_bootstrap_from_eight_runs_and_by_welch_below() -> None:
    assert LOW.bootstrap
    rng = np.random.default_rng(4)
    eight = pair(rng.normal(90, 1, 8), rng.normal(95, 1, 8), LOW).rows[0].cells[1]
    seven = pair(rng.normal(90, 1, 7), rng.normal(95, 1, 7), LOW).rows[0].cells[1]
    assert eight.gain is not None and seven.gain is not None
    assert (eight.gain.method, seven.gain.method) == ("bootstrap", "welch")


def test_temperatures_are_referred_to_one_room() -> None:
    drawn = [
        *samples(CPU, STOCK, [80.0, 81.0], ambient_celsius=25.0),
        *samples(CPU, DEEP, [74.0, 75.0], ambient_celsius=19.0),
    ]
    as_measured = compare([STOCK, DEEP], drawn).cell("cpu.temperature", DEEP.key)
    alike = compare([STOCK, DEEP], drawn, room_celsius=21.0)
    cell = alike.cell("cpu.temperature", DEEP.key)
    assert as_measured is not None and as_measured.gain is not None and as_measured.gain.absolute == -6.0
    assert cell is not None and cell.gain is not None
    assert cell.mean == pytest.approx(76.5)
    assert cell.gain.absolute == pytest.approx(0.0)
    assert math.isnan(cell.gain.percent)
    assert any("21.0 °C" in note for note in alike.notes)


def test_a_part_at_its_ceiling_is_not_moved_and_said() -> None:
    drawn = samples(CPU, STOCK, [94.5, 95.0], ambient_celsius=25.0, ceiling_celsius=95.0)
    cell = compare([STOCK], drawn, room_celsius=20.0).rows[0].cells[0]
    assert cell.mean == pytest.approx(94.75)
    assert any("ceiling" in note for note in cell.notes)
    held = samples(CPU, STOCK, [88.0, 88.0], ambient_celsius=25.0, held_by_heat_share=0.4)
    assert compare([STOCK], held, room_celsius=20.0).rows[0].cells[0].mean == 88.0


def test_a_run_without_a_room_temperature_is_left_out_of_a_room_and_said() -> None:
    drawn = [*samples(CPU, STOCK, [80.0], ambient_celsius=25.0), Sample(CPU, STOCK.key, 99.0, run_id=77)]
    got = compare([STOCK], drawn, room_celsius=25.0)
    assert got.rows[0].cells[0].mean == 80.0
    assert any("1 of 2 runs left out" in text for text in got.left_out)


def test_other_loads_are_compared_with_the_baseline_under_that_load() -> None:
    stock_gpu, deep_gpu = configuration(0, "gpu"), configuration(60, "gpu")
    everyone = [STOCK, DEEP, stock_gpu, deep_gpu]
    drawn = [
        *samples(CPU, STOCK, [90, 90.5, 91]),
        *samples(CPU, DEEP, [85, 85.5, 86]),
        *samples(CPU, stock_gpu, [70, 70.5, 71]),
        *samples(CPU, deep_gpu, [69, 69.5, 70]),
    ]
    row = compare(everyone, drawn).rows[0]
    assert [cell.against for cell in row.cells] == [None, STOCK.key, None, stock_gpu.key]
    assert [cell.verdict for cell in row.cells][::2] == ["baseline", "baseline"]
    orphan = compare([STOCK, deep_gpu], drawn).rows[0].cells[1]
    assert (orphan.verdict, orphan.gain) == ("no baseline", None)


def test_an_upper_bound_is_not_judged() -> None:
    drawn = [*samples(SOUND, STOCK, [45, 46, 45]), *samples(SOUND, DEEP, [30, 31, 30], at_most=True)]
    cell = compare([STOCK, DEEP], drawn).rows[0].cells[1]
    assert (cell.verdict, cell.is_real, cell.at_most) == ("upper bound", False, True)


def test_missing_metrics_leave_an_empty_cell() -> None:
    row = compare([STOCK, DEEP], samples(POINTS, STOCK, [4400, 4401])).rows[0]
    assert row.cells[1].verdict == "not measured"
    assert compare([STOCK, DEEP], []).rows == ()


def test_the_whole_table_may_be_one_family() -> None:
    rng = np.random.default_rng(0)
    metrics = [of_score(Score(name=f"m{i}", value=1)) for i in range(6)]
    drawn = [s for m in metrics for one in (STOCK, DEEP) for s in samples(m, one, rng.normal(100, 1, 4))]
    per_metric, whole = compare([STOCK, DEEP], drawn), compare([STOCK, DEEP], drawn, family="table")
    for one, two in zip(per_metric.rows, whole.rows, strict=True):
        first, second = one.cells[1].gain, two.cells[1].gain
        assert first is not None and second is not None
        assert first.p_adjusted <= second.p_adjusted
    assert "about 0.3 of them" in per_metric.correction
    assert "all 6 tests" in whole.correction


def test_a_metric_without_direction_is_called_higher_or_lower() -> None:
    power = of_summary("cpu.power.mean")
    assert power is not None
    cell = pair([50, 50.5, 51], [40, 40.5, 41], power).rows[0].cells[1]
    assert cell.verdict == "lower"
    assert {"lower"} <= REAL


def test_limiter_shares_are_passed_through_for_those_compared() -> None:
    shares = [LimiterShare(STOCK.key, "cpu", 2, {"thermal": 1.0}), LimiterShare(DEEPER.key, "cpu", 1, {})]
    assert compare([STOCK, DEEP], [], limiters=shares).limiters == (shares[0],)


def test_bad_questions_are_refused() -> None:
    with pytest.raises(BadInput, match="nothing to compare"):
        compare([], [])
    with pytest.raises(BadInput, match="baseline"):
        compare([STOCK], [], baseline="nobody")
    with pytest.raises(BadInput, match="confidence"):
        compare([STOCK], [], confidence=1.5)


def test_the_same_question_gives_the_same_answer() -> None:
    rng = np.random.default_rng(1)
    a, b = rng.normal(90, 2, 6), rng.normal(92, 2, 6)
    assert pair(a, b, LOW).rows == pair(a, b, LOW).rows
