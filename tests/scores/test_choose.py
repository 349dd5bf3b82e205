"""Choosing a configuration: the best that keeps the share, how sure, at what cost."""

from __future__ import annotations

import numpy as np
import pytest
from summary_metrics import summary_metric

from surefoot.errors import AnswerIsNo, BadInput
from surefoot.runs import Reading, Score
from surefoot.scores.choose import choose
from surefoot.scores.comparison import Comparison, compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.metrics import Metric, Sample, of_reading, of_score
from surefoot.units import Setting

POINTS = of_score(Score(name="render", value=1))
SOUND = of_reading(Reading(kind="sound", value=40, place="ear"))
FAN, CPU = summary_metric("cpu.fan.mean"), summary_metric("cpu.temperature.mean")
assert FAN is not None and CPU is not None


def mode(name: str, load: str | None = "mixed") -> Configuration:
    key = key_of(Parts(name, None, Setting(), load, None))
    return Configuration(key, name, name, None, name, None, Setting(), load, None)


FULL, MIDDLE, EVENING = mode("full"), mode("middle"), mode("evening")


def table(values: dict[Configuration, dict[Metric, list[float]]]) -> Comparison:
    drawn = []
    for place, (one, metrics) in enumerate(values.items()):
        for metric, numbers in metrics.items():
            drawn += [Sample(metric, one.key, value, run_id=100 * place + i) for i, value in enumerate(numbers)]
    return compare(list(values), drawn)


@pytest.fixture
def three() -> Comparison:
    return table(
        {
            FULL: {POINTS: [3000, 3010, 2990], SOUND: [50.0, 50.2, 49.8], CPU: [90.0, 90.4, 89.6]},
            MIDDLE: {POINTS: [2950, 2960, 2940], SOUND: [45.0, 45.2, 44.8], CPU: [82.0, 82.4, 81.6]},
            EVENING: {POINTS: [2500, 2510, 2490], SOUND: [38.0, 38.2, 37.8], CPU: [75.0, 75.4, 74.6]},
        }
    )


def test_the_quietest_that_keeps_its_share(three: Comparison) -> None:
    got = choose(three, "quietest", keeping=0.97)
    assert got.chosen.name == "middle"
    assert got.chosen.share == pytest.approx(2950 / 3000)
    assert got.chosen.chance_keeps is not None and got.chosen.chance_keeps > 0.95
    assert [one.name for one in got.candidates] == ["middle", "full", "evening"]
    assert [one.keeps for one in got.candidates] == [True, True, False]
    assert got.costs[0].words.startswith("render -1.7 %")
    assert any(gain.metric == "sound.load.ear" and gain.is_real for gain in got.gains)
    assert choose(three, "quietest", keeping=0.8).chosen.name == "evening"
    assert choose(three, "coolest", keeping=0.97).measure == "cpu.temperature"
    assert choose(three, "fastest").chosen.name == "full"


def test_a_share_on_the_edge_is_half_sure() -> None:
    # The true share is the one asked for: the chance must be about one half.
    got = choose(
        table(
            {
                FULL: {POINTS: [1000, 1010, 990, 1005, 995], SOUND: [50.0, 50.5, 49.5, 50, 50]},
                EVENING: {POINTS: [970, 980, 960, 975, 965], SOUND: [40.0, 40.5, 39.5, 40, 40]},
            }
        ),
        "quietest",
        keeping=0.97,
    )
    assert got.chosen.name == "evening"
    assert got.chosen.chance_keeps == pytest.approx(0.5, abs=0.03)


def test_chances_are_honest_over_repeated_draws() -> None:
    # Of choices told "90 % or more that it keeps the share", at least 90 % (less chance) must truly keep it.
    rng = np.random.default_rng(5)
    told, right = 0, 0
    for _ in range(300):
        true_share = rng.uniform(0.94, 1.0)
        got = choose(
            table(
                {
                    FULL: {POINTS: list(rng.normal(1000, 10, 5)), SOUND: [50.0, 50.5, 49.5]},
                    EVENING: {POINTS: list(rng.normal(1000 * true_share, 10, 5)), SOUND: [40.0, 40.5, 39.5]},
                }
            ),
            "quietest",
            keeping=0.97,
            against="baseline",
        )
        evening = next(one for one in got.candidates if one.name == "evening")
        assert evening.chance_keeps is not None
        if evening.chance_keeps >= 0.9:
            told += 1
            right += true_share >= 0.97
    assert told > 50
    assert right / told >= 0.9


def test_one_run_gives_no_chance() -> None:
    got = choose(table({FULL: {POINTS: [3000], SOUND: [50.0]}, EVENING: {POINTS: [2950], SOUND: [40.0]}}), "quietest")
    assert got.chosen.name == "evening"
    assert (got.chosen.chance_keeps, got.chosen.chance_best) == (None, None)
    assert "How sure cannot be said" in got.sentence
    assert any("One run only" in note for note in got.notes)


def test_nothing_keeps_the_share_of_the_baseline() -> None:
    one = table({FULL: {POINTS: [3000, 3001]}, EVENING: {POINTS: [2000, 2001], SOUND: [40.0, 40.0]}})
    with pytest.raises(AnswerIsNo):
        choose(one, "quietest", against="baseline")


def test_the_fan_stands_in_where_no_sound_was_read() -> None:
    got = choose(
        table({FULL: {POINTS: [3000, 3001], FAN: [5000, 5050]}, EVENING: {POINTS: [2999, 3000], FAN: [3000, 3050]}}),
        "quietest",
    )
    assert (got.measure, got.chosen.name) == ("cpu.fan", "evening")


def test_other_loads_are_no_candidates_for_a_temperature() -> None:
    other = mode("full", load="light")
    got = choose(
        table(
            {
                FULL: {POINTS: [3000, 3001], CPU: [90.0, 90.5]},
                other: {POINTS: [3000, 3001], CPU: [50.0, 50.5]},
            }
        ),
        "coolest",
    )
    assert got.chosen.configuration == FULL.key
    assert any("other loads" in note for note in got.notes)


def test_a_score_may_come_from_the_same_setting_under_another_load() -> None:
    full_score, evening_score = mode("full", load="render"), mode("evening", load="render")
    got = choose(
        table(
            {
                FULL: {CPU: [90.0, 90.5]},
                EVENING: {CPU: [75.0, 75.5]},
                full_score: {POINTS: [3000, 3001]},
                evening_score: {POINTS: [2990, 2991]},
            }
        ),
        "coolest",
    )
    assert got.chosen.configuration == EVENING.key
    assert got.chosen.share == pytest.approx(2990.5 / 3000.5)


def test_lower_is_better_scores_are_kept_the_right_way_round() -> None:
    seconds = of_score(Score(name="build", value=1, unit="s", higher_is_better=False))
    got = choose(
        table(
            {
                FULL: {seconds: [100.0, 101.0], SOUND: [50.0, 50.1]},
                MIDDLE: {seconds: [102.0, 103.0], SOUND: [45.0, 45.1]},
                EVENING: {seconds: [120.0, 121.0], SOUND: [38.0, 38.1]},
            }
        ),
        "quietest",
    )
    assert got.chosen.name == "middle"
    assert got.chosen.share == pytest.approx(100.5 / 102.5)


def test_bad_questions_are_refused(three: Comparison) -> None:
    with pytest.raises(BadInput, match="Those measured"):
        choose(three, "coolest", of="nothing")
    for share in (0.0, 1.2, -1.0):
        with pytest.raises(BadInput, match="share"):
            choose(three, "coolest", keeping=share)
    with pytest.raises(AnswerIsNo, match="wall-power"):
        choose(three, "leanest")
