"""Metrics: what a score, a reading and a summary's value are compared as."""

from __future__ import annotations

import pytest

from surefoot.runs import Reading, Score
from surefoot.scores.metrics import in_order, of_reading, of_score, of_summary


def test_scores_of_another_unit_or_direction_are_other_metrics() -> None:
    assert of_score(Score(name="build", value=90, unit="s", higher_is_better=False)).name == "build (s)"
    assert of_score(Score(name="build", value=90, unit="s", higher_is_better=False)).better == "lower"
    assert of_score(Score(name="render", value=4210)).name == "render"


@pytest.mark.parametrize(("value", "decimals"), [(4210, 0), (17.5, 1), (123.4567, 1), (0.53217, 4), (0, 0), (3.1, 1)])
def test_decimals_follow_the_value(value: float, decimals: int) -> None:
    assert of_score(Score(name="x", value=value)).decimals == decimals


def test_frame_figures_are_frames_and_lows_go_by_the_bootstrap() -> None:
    low = of_score(Score(name="scene: 1 % low (percentile)", value=60, unit="fps"))
    assert (low.group, low.bootstrap) == ("frames", True)
    assert of_score(Score(name="clock tower, 1 % Low", value=60, unit="fps")).bootstrap
    fps = of_score(Score(name="slow scene of the lowlands", value=60, unit="fps"))
    assert (fps.group, fps.bootstrap) == ("frames", False)


def test_readings_are_told_apart_by_state_and_place() -> None:
    names = {
        of_reading(Reading(kind="sound", value=40, place=place, state=state)).name
        for place in ("ear", "Ear ", "1 m")
        for state in ("idle", "load")
    }
    assert len(names) == 4
    assert of_reading(Reading(kind="surface", value=40, place="key G")).follows_room


def test_summaries_keep_what_speaks_of_a_configuration() -> None:
    mean, high = of_summary("cpu.temperature.mean"), of_summary("gpu.temperature.hotspot.max")
    assert mean is not None and high is not None
    assert (mean.name, mean.label, mean.main, mean.follows_room) == ("cpu.temperature", "CPU temperature", True, True)
    assert (high.label, high.main) == ("GPU temperature hotspot, highest", False)
    for name in (
        "trace.minutes", "room.temperature.mean", "cpu.power.energy", "cpu.clock.core-3.mean", "cpu.thermal-flag.mean",
        "nonsense", "", "cpu.temperature",
    ):  # fmt: skip
        assert of_summary(name) is None, name


def test_what_was_gained_comes_first() -> None:
    power, score = of_summary("cpu.power.mean"), of_score(Score(name="render", value=1))
    assert power is not None
    assert in_order([power, score]) == [score, power]
