"""Rehearsal: virtual units behave as they say, and the measures are those of the units played."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput
from surefoot.rehearsal.measures import rehearse, wilson
from surefoot.rehearsal.play import play
from surefoot.rehearsal.populations import POPULATIONS, population_named
from surefoot.rehearsal.virtual import VirtualUnit

UNIT = VirtualUnit(edge=100.0, per_decade=5.0)


def lives(unit: VirtualUnit, depth: float, count: int = 4000, session: float = 0.0) -> np.ndarray:
    rng = np.random.default_rng(3)
    return np.array([unit.hours_to_failure(depth, 1e9, session, rng) for _ in range(count)])


def test_time_to_failure_is_exponential_with_the_hazard() -> None:
    found = lives(UNIT, 95.0)
    assert UNIT.mttf_hours(95.0) == pytest.approx(10.0)
    assert stats.kstest(found, "expon", args=(0, 10.0)).pvalue > 0.001


def test_weibull_units_keep_the_mean_and_fail_early() -> None:
    # Weibull, shape 0.6: mean = scale * gamma(1 + 1 / 0.6).
    found = lives(replace(UNIT, shape=0.6), 95.0, 20_000)
    assert found.mean() == pytest.approx(10.0, rel=0.05)
    assert stats.kstest(found, "weibull_min", args=(0.6, 0, 10.0 / math.gamma(1 + 1 / 0.6))).pvalue > 0.001


def test_a_background_hazard_adds() -> None:
    unit = replace(UNIT, background=0.1)
    assert unit.mttf_hours(95.0) == pytest.approx(5.0)
    assert lives(unit, 95.0).mean() == pytest.approx(5.0, rel=0.06)


def test_a_moving_edge_is_judged_warm_and_over_its_swing() -> None:
    unit = replace(UNIT, warm_drop=5.0, swing=3.0)
    # Numerically, over one cycle.
    phase = np.linspace(0, 2 * np.pi, 20_001)[:-1]
    rate = (10.0 ** ((90 + 5 + 3 * np.sin(phase) - 100) / 5)).mean()
    assert unit.hazard(90.0) == pytest.approx(rate, rel=1e-6)
    assert unit.hazard(unit.best_depth(100.0, 250.0)) == pytest.approx(0.01, rel=1e-9)
    rng = np.random.default_rng(3)
    still = [unit.hours_to_failure(100.0, 3000.0, 500.0, rng) for _ in range(500)]
    assert np.mean(still) == pytest.approx(1 / unit.hazard(100.0), rel=0.25)


def failures_an_hour(unit: VirtualUnit, depth: float, minutes: float, runs: int) -> float:
    """Failures over hours under load in many runs of so many minutes."""
    rng = np.random.default_rng(8)
    hours = np.array([unit.hours_to_failure(depth, minutes, 0.0, rng) for _ in range(runs)])
    return float(np.isfinite(hours).sum() / np.minimum(hours, minutes / 60.0).sum())


def test_a_jittered_edge_fails_in_hours_of_use_as_it_says() -> None:
    unit = replace(UNIT, jitter=4.0)
    # The share of hour-long runs that fail, over the hour: the long-use hazard is of runs of an hour.
    rng = np.random.default_rng(8)
    failed = np.mean([math.isfinite(unit.hours_to_failure(90.0, 60.0, 0.0, rng)) for _ in range(20_000)])
    assert unit.hazard(90.0) == pytest.approx(failed, rel=0.05)
    assert unit.hazard(90.0) > 3 * UNIT.hazard(90.0)


def test_the_harsher_minute_in_ten_counts_for_a_tenth() -> None:
    unit = replace(UNIT, harsh_drop=15.0)
    assert unit.hazard(90.0) == pytest.approx(0.9 * UNIT.hazard(90.0) + 0.1 * UNIT.hazard(105.0))
    assert failures_an_hour(unit, 90.0, 30.0, 8000) == pytest.approx(unit.hazard(90.0), rel=0.06)
    # In a run of a minute most runs meet none of the harsh minute.
    rng = np.random.default_rng(8)
    short = [math.isfinite(unit.hours_to_failure(105.0, 1.0, 0.0, rng)) for _ in range(4000)]
    assert 0.1 < np.mean(short) < 0.4


def test_a_hazard_that_is_never_instant() -> None:
    unit = replace(UNIT, most_per_hour=40.0)
    assert lives(unit, 200.0).mean() == pytest.approx(1 / 40, rel=0.06)
    assert unit.best_depth(1 / 50, 250.0) == 250.0
    assert unit.best_depth(100.0, 250.0) == UNIT.best_depth(100.0, 250.0)


def test_populations_of_the_second_round_are_as_described() -> None:
    def drawn(name: str) -> list[VirtualUnit]:
        return [POPULATIONS[name].draw(np.random.default_rng([1, index])) for index in range(2000)]

    assert np.mean([unit.per_decade == 13.0 for unit in drawn("soft-tail")]) == pytest.approx(0.3, abs=0.03)
    edges = [unit.edge for unit in drawn("near-stock")]
    assert 12 <= min(edges) < 13 and 54 < max(edges) <= 55
    assert POPULATIONS["clock"].knob.step == 15 and POPULATIONS["clock"].knob.unit == "MHz"
    clocks = drawn("clock")
    assert np.mean([unit.edge for unit in clocks]) == pytest.approx(160, abs=4)
    assert np.median([unit.per_decade for unit in clocks]) == pytest.approx(11, abs=0.2)


@pytest.mark.parametrize("name", list(POPULATIONS))
def test_the_best_depth_just_meets_the_goal(name: str) -> None:
    limit = POPULATIONS[name].knob.limit
    for index in range(20):
        unit = POPULATIONS[name].draw(np.random.default_rng([1, index]))
        best = unit.best_depth(100.0, limit)
        if 0 < best < limit:
            assert unit.mttf_hours(best) == pytest.approx(100.0, rel=1e-6)


def test_the_reference_population_is_as_described() -> None:
    drawn = [POPULATIONS["reference"].draw(np.random.default_rng([1, index])) for index in range(3000)]
    edges = np.array([unit.edge for unit in drawn])
    slopes = np.log([unit.per_decade for unit in drawn])
    assert edges.min() >= 30 and edges.max() <= 220
    assert (edges.mean(), edges.std()) == (pytest.approx(110, abs=2), pytest.approx(30, abs=1.5))
    assert (slopes.mean(), slopes.std()) == (pytest.approx(math.log(5), abs=0.02), pytest.approx(0.35, abs=0.02))


def test_late_units_hide_the_time() -> None:
    seen, lasted, failed = replace(UNIT, late=True).run(140.0, 10.0, 0.0, np.random.default_rng(1))
    assert failed and not seen.timed and seen.minutes == lasted == 10.0


def test_a_mislogged_outcome_is_the_wrong_way_round() -> None:
    seen, _, failed = replace(UNIT, mislogged=1.0).run(140.0, 10.0, 0.0, np.random.default_rng(1))
    assert failed and not seen.failed


def test_the_result_does_not_depend_on_the_workers() -> None:
    one = rehearse(12, 5, strategies=("ladder", "bisection"), workers=1)
    two = rehearse(12, 5, strategies=("ladder", "bisection"), workers=2)
    assert one == two
    assert rehearse(12, 6, strategies=("ladder",), workers=1) != one[:1]


def test_bench_hours_are_what_a_bench_would_take() -> None:
    # A ladder run costs 3 min to set up and its minutes; a crash 8 min: counted here a second time from the runs.
    played = play(population_named("reference"), "ladder", 4, 0)
    rungs = played.runs - 1 - played.crashes
    least = (3 * played.runs + 15 * rungs + 120 + 8 * played.crashes) / 60
    assert least <= played.bench_hours + 1e-9 <= least + 15 * played.crashes / 60 + 2


def test_the_ladder_costs_what_the_trade_knows() -> None:
    # The issue's own simulation of the common practice: about 5.9 h, 1.5 crashes, 65 % wrong claims (no source).
    (found,) = rehearse(200, 11, strategies=("ladder",), workers=1)
    assert found.hours == pytest.approx(5.9, abs=0.6)
    assert found.crashes == pytest.approx(1.5, abs=0.2)
    assert 1 - found.honest == pytest.approx(0.65, abs=0.1)


def test_the_search_is_cheaper_and_honest() -> None:
    own, ladder = rehearse(25, 12, workers=1)
    assert own.hours < ladder.hours / 2.5
    assert own.crashes < 2.0
    assert own.honest >= 0.9 > ladder.honest


def test_wilson_agrees_with_statsmodels() -> None:
    for successes, trials in ((0, 10), (9, 10), (361, 400), (400, 400)):
        assert wilson(successes, trials) == pytest.approx(
            proportion_confint(successes, trials, method="wilson"), abs=1e-9
        )


def test_progress_is_told() -> None:
    told: list[tuple[int, int]] = []
    rehearse(12, 5, strategies=("ladder",), workers=1, progress=lambda done, total: told.append((done, total)))
    assert told[-1] == (12, 12)


def test_each_effort_is_played_once_and_the_ladder_knows_none() -> None:
    found = rehearse(2, 5, efforts=("quick", "thorough"), workers=1)
    assert [one.title for one in found] == ["posterior quick", "posterior thorough", "ladder"]
    assert found[0].hours < found[1].hours


def test_room_is_the_share_of_units_with_room_that_got_a_claim() -> None:
    (found,) = rehearse(12, 5, populations=("near-stock",), strategies=("ladder",), workers=1)
    played = [play(population_named("near-stock"), "ladder", 5, index) for index in range(12)]
    room = [one for one in played if one.best >= 5]
    assert found.roomy == sum((one.depth or 0) >= 5 for one in room) / len(room)


def test_unknown_names_are_refused() -> None:
    with pytest.raises(BadInput, match="quick, usual, thorough"):
        rehearse(1, 1, efforts=("much",))
    with pytest.raises(BadInput, match="reference, steep"):
        rehearse(1, 1, populations=("nowhere",))
    with pytest.raises(BadInput, match="posterior"):
        rehearse(1, 1, strategies=("guess",))


def run(*arguments: str) -> str:
    result = CliRunner().invoke(app, ["rehearse", "--workers", "1", *arguments])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_command_prints_a_table_of_80_columns() -> None:
    text = run("--units", "3", "--seed", "1", "--strategy", "ladder", "--strategy", "ladder-back-30")
    assert "reference: 3 units, seed 1" in text and "ladder-back-30" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_command_gives_json() -> None:
    made = json.loads(run("--units", "3", "--population", "soft", "--strategy", "bisection", "--json"))
    assert made["units"] == 3
    (one,) = made["measures"]
    assert (one["population"], one["strategy"], one["units"]) == ("soft", "bisection", 3)
    assert {"hours", "hours_p90", "crashes", "runs", "honest", "honest_low", "give_away", "overshoot"} <= set(one)


def test_an_unknown_population_ends_with_2() -> None:
    result = CliRunner().invoke(app, ["rehearse", "--population", "nowhere"])
    assert isinstance(result.exception, BadInput) and result.exception.exit_code == 2
