"""Curves of frame times: percentiles of one log, kept as scores, and the spread between runs."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.runs import Score
from surefoot.scores.frame_curves import FrameCurve, between_runs, curve_point, curve_scores, percentiles
from surefoot.scores.frames import frame_statistics


def test_percentiles_of_an_even_ladder_are_its_rungs() -> None:
    # 0 to 1000 in whole steps: with linear interpolation the p-th percentile is 10 p (Hyndman and Fan 1996, type 7).
    ladder = np.random.default_rng(1).permutation(np.arange(1001.0))
    found = percentiles(ladder)
    assert list(found) == [1, 2, 5, 10, 25, 50, 75, 90, 95, 98, 99, 99.5, 99.9]
    assert list(found.values()) == pytest.approx([10 * percent for percent in found])


def test_a_short_log_has_no_percentile_without_a_frame_beyond_it() -> None:
    assert list(percentiles(np.arange(1.0, 100.0))) == [2, 5, 10, 25, 50, 75, 90, 95, 98]
    assert max(percentiles(np.arange(1.0, 101.0))) == 99
    assert max(percentiles(np.arange(1.0, 1001.0))) == 99.9
    assert percentiles(np.array([10.0])) == {}


def test_the_curve_agrees_with_the_lows_of_the_same_log() -> None:
    frames = np.random.default_rng(2).gamma(20, 0.5, 1000) + 2
    # A hitch counts in both as if it were short.
    frames[100] = 5000.0
    got = frame_statistics(frames)
    assert 1000 / got.percentiles_ms[99] == pytest.approx(got.low_1_percentile_fps)
    assert 1000 / got.percentiles_ms[99.9] == pytest.approx(got.low_01_percentile_fps)
    assert got.percentiles_ms[50] == pytest.approx(got.median_ms)


@pytest.mark.parametrize("scene", ["", "harbour", "harbour: night, 2 %"])
def test_a_curve_comes_back_from_its_scores(scene: str) -> None:
    curve = {1.0: 5.25, 50.0: 7.5, 99.9: 20.125}
    kept = curve_scores(scene, curve)
    assert [curve_point(one) for one in kept] == [(scene, percent) for percent in curve]
    assert [one.value for one in kept] == list(curve.values())
    assert all(one.unit == "ms" and not one.higher_is_better for one in kept)


def test_other_scores_are_no_point_of_a_curve() -> None:
    for name, unit in (("frame time", "ms"), ("frame time, 42 %", "ms"), ("frame time, 99 %", "s"), ("fps", "fps")):
        assert curve_point(Score(name=name, value=1.0, unit=unit)) is None


def test_the_spread_is_that_of_the_runs() -> None:
    runs = [FrameCurve("a", n, "", {50.0: 7.0 + n, 99.0: 20.0 - n**2}) for n in range(3)]
    runs.append(FrameCurve("a", 9, "", {50.0: 30.0}))
    spread = between_runs(runs)
    assert list(spread) == [50.0]
    one = spread[50.0]
    assert (one.low, one.middle, one.high, one.runs) == (7.0, 8.5, 30.0, 4)
    two = between_runs(runs[:3])[99.0]
    assert (two.low, two.middle, two.high) == (16.0, 19.0, 20.0)
    assert between_runs([]) == {}
