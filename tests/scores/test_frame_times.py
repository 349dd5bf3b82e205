"""Frame times: definitions, and what a paused, cut-off or dirty log may not change."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.errors import BadInput
from surefoot.scores.frames import DEFINITIONS, FrameStatistics, frame_statistics


def test_average_is_frames_over_time_not_the_mean_of_rates() -> None:
    # 10 ms and 30 ms: 2 frames in 40 ms are 50 fps; the mean of 100 and 33.3 fps would be 66.7.
    assert frame_statistics([10.0, 30.0] * 50).average_fps == pytest.approx(50.0)


def test_lows_by_both_definitions() -> None:
    frames = np.array([10.0] * 990 + [20.0] * 9 + [40.0])
    np.random.default_rng(0).shuffle(frames)
    got = frame_statistics(frames)
    # Ten slowest of 1000: nine of 20 ms and one of 40 ms: 10 frames in 220 ms.
    assert got.low_1_slowest_fps == pytest.approx(1000 * 10 / 220)
    assert got.low_1_percentile_fps == pytest.approx(1000 / np.percentile(frames, 99))
    assert got.low_01_slowest_fps == pytest.approx(25.0)
    assert got.low_01_percentile_fps == pytest.approx(1000 / np.percentile(frames, 99.9))


@settings(max_examples=60, deadline=None)
@given(st.integers(100, 3000), st.integers(0, 2**32 - 1))
def test_percentile_lows_agree_with_numpy_and_are_ordered(count: int, seed: int) -> None:
    frames = np.random.default_rng(seed).gamma(20, 0.5, count) + 2
    got = frame_statistics(frames)
    if got.frames == count:
        assert got.low_1_percentile_fps == pytest.approx(1000 / np.percentile(frames, 99))
    assert got.low_1_slowest_fps <= got.average_fps + 1e-9
    assert got.low_1_percentile_fps <= got.average_fps * 1.0001 or math.isnan(got.low_1_percentile_fps)
    if got.frames >= 1000:
        assert got.low_01_slowest_fps <= got.low_1_slowest_fps + 1e-9
        assert got.low_01_percentile_fps <= got.low_1_percentile_fps + 1e-9


def test_too_few_frames_give_no_low_and_say_so() -> None:
    few = frame_statistics([10.0] * 99)
    assert math.isnan(few.low_1_slowest_fps)
    assert set(few.figures()) == {"fps", "stutter", "hitches"}
    assert any("100" in note for note in few.notes)
    some = frame_statistics([10.0] * 999)
    assert some.low_1_slowest_fps == pytest.approx(100.0)
    assert math.isnan(some.low_01_percentile_fps)


def hitched(milliseconds: float) -> FrameStatistics:
    """A thousand frames of 10 ms with one longer among them."""
    return frame_statistics([10.0] * 500 + [milliseconds] + [10.0] * 500)


def test_a_hitch_is_a_figure_of_its_own_and_said() -> None:
    got = hitched(45_000.0)
    assert (got.hitches, got.hitch_seconds, got.hitch_counts_ms) == (1, pytest.approx(45.0), 100.0)
    assert got.figures()["hitches"] == pytest.approx(60 / 55)
    assert any("45.0 s" in note and "counts as 100 ms" in note for note in got.notes)
    # Ten slowest of 1001: nine of 10 ms and the hitch as 100 ms.
    assert got.low_1_slowest_fps == pytest.approx(1000 * 10 / 190)


@pytest.mark.parametrize("milliseconds", [100.0, 999.0, 1000.0, 1001.0, 60_000.0])
def test_no_low_depends_on_how_long_a_hitch_was(milliseconds: float) -> None:
    figures = {name: value for name, value in hitched(milliseconds).figures().items() if name != "hitches"}
    assert figures == {name: value for name, value in hitched(150.0).figures().items() if name != "hitches"}


@settings(max_examples=40, deadline=None)
@given(st.floats(10.0, 3000.0))
def test_a_millisecond_more_moves_no_low_by_more_than_its_share(milliseconds: float) -> None:
    one, other = hitched(milliseconds).figures(), hitched(milliseconds + 1.0).figures()
    for name in set(one) - {"hitches", "stutter"}:
        assert other[name] == pytest.approx(one[name], rel=0.1), name


def test_a_long_stutter_below_a_hitch_is_a_stutter_alone() -> None:
    got = hitched(70.0)
    assert (got.hitches, got.stutters) == (0, 1)
    assert got.stutter_share == pytest.approx(0.07 / 10.07)


def test_a_log_of_one_frame_a_second_is_not_all_pause() -> None:
    assert frame_statistics([1500.0] * 20).average_fps == pytest.approx(1 / 1.5)


def test_dirty_frames_are_counted_and_change_nothing() -> None:
    clean = frame_statistics([10.0] * 1000)
    dirty = frame_statistics([10.0] * 400 + [0.0, -3.0, math.nan, math.inf] + [10.0] * 600)
    assert dirty.rejected == 4
    assert dirty.figures() == clean.figures()
    assert any(note.startswith("4 frames of 1004") for note in dirty.notes)


def test_partial_first_and_last_frame_are_left_out() -> None:
    got = frame_statistics([350.0] + [10.0] * 300 + [1.2])
    assert (got.first_left_out, got.last_left_out) == (True, True)
    assert got.average_fps == pytest.approx(100.0)
    kept = frame_statistics([11.0, 10.0, 9.0, 9.5] * 300)
    assert (kept.first_left_out, kept.last_left_out, kept.notes) == (False, False, ())


def test_holes_in_the_logs_own_times_are_said_and_not_counted() -> None:
    frames = np.full(2000, 10.0)
    at = np.cumsum(frames) / 1000
    at[1000:] += 60.0
    got = frame_statistics(frames, at_seconds=at)
    assert (got.gaps, got.gap_seconds) == (1, pytest.approx(60.0))
    assert got.average_fps == pytest.approx(100.0)


def test_stutter_follows_the_local_pace() -> None:
    # A change of scene from 5 ms to 15 ms is no stutter; one frame of 25 ms among 5 ms ones is.
    assert frame_statistics([5.0] * 500 + [15.0] * 500).stutters == 0
    assert frame_statistics([5.0] * 500 + [25.0] + [5.0] * 500).stutters == 1
    # Twice as long but only 2 ms longer: too short to see.
    assert frame_statistics([2.0] * 500 + [4.5] + [2.0] * 500).stutters == 0


@pytest.mark.parametrize("frames", [[], [0.0, -1.0], [math.nan], [[1.0, 2.0]]])
def test_no_usable_frame_is_refused(frames: list[float]) -> None:
    with pytest.raises(BadInput):
        frame_statistics(frames)


def test_seconds_instead_of_milliseconds_are_refused() -> None:
    with pytest.raises(BadInput, match="seconds"):
        frame_statistics([0.0166] * 500)


def test_times_of_another_length_are_refused() -> None:
    with pytest.raises(BadInput, match="2 times for 3 frames"):
        frame_statistics([1.0, 1.0, 1.0], at_seconds=[0.0, 1.0])


def test_within_log_intervals_hold_the_figure_and_repeat() -> None:
    frames = np.random.default_rng(3).gamma(20, 0.5, 4000)
    got = frame_statistics(frames, intervals=True)
    assert set(got.intervals) == set(DEFINITIONS) - {"stutter", "hitches"}
    assert got.intervals["fps"].low < got.average_fps < got.intervals["fps"].high
    assert got.intervals["1 % low (slowest mean)"].low < got.low_1_slowest_fps
    assert got.intervals == frame_statistics(frames, intervals=True).intervals


@settings(max_examples=examples(150), deadline=None)
@given(st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=300))
def test_any_numbers_give_statistics_or_bad_input(frames: list[float]) -> None:
    try:
        got = frame_statistics(frames)
    except BadInput:
        return
    assert got.average_fps > 0
    assert 0 <= got.stutter_share <= 1
    assert got.frames + got.rejected + got.first_left_out + got.last_left_out == len(frames)
