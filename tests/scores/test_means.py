"""Means, resampling and correction: properties that hold for any values, and refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.scores.bootstrap import block_bootstrap, bootstrap_difference
from surefoot.scores.means import mean_of, percent_change, resolution_of, welch, welch_from_summary
from surefoot.scores.multiple import holm
from surefoot.scores.rooms import refer_to_room
from surefoot.scores.sound import corrected_level, mean_level
from surefoot.scores.surfaces import judge

values = st.lists(st.floats(-1e6, 1e6).map(lambda x: round(x, 3)), min_size=2, max_size=12)


@settings(max_examples=80, deadline=None)
@given(values, values, st.floats(0.01, 100), st.floats(-1e4, 1e4))
def test_a_difference_turns_sign_and_keeps_its_p_when_units_change(
    a: list[float], b: list[float], scale: float, shift: float
) -> None:
    one, turned = welch(a, b), welch(b, a)
    assert turned.difference == pytest.approx(-one.difference)
    if math.isnan(one.p_value) or one.standard_error < 1e-3:
        return
    assert turned.p_value == pytest.approx(one.p_value)
    moved = welch(np.array(a) * scale + shift, np.array(b) * scale + shift)
    assert moved.p_value == pytest.approx(one.p_value, rel=1e-3, abs=1e-9)
    assert one.low <= one.difference <= one.high
    assert (one.low > 0 or one.high < 0) == (one.p_value < 0.05) or one.p_value == pytest.approx(0.05)


@settings(max_examples=40, deadline=None)
@given(values, values)
def test_the_bootstraps_interval_agrees_with_its_p(a: list[float], b: list[float]) -> None:
    one = bootstrap_difference(a, b, resamples=499)
    if math.isnan(one.p_value) or math.isnan(one.low):
        return
    assert (one.low > 0 or one.high < 0) == (one.p_value <= 0.05)
    assert 0 < one.p_value <= 1


def test_no_spread_at_all_is_not_judged() -> None:
    for judge_difference in (welch, bootstrap_difference):
        assert math.isnan(judge_difference([1.0, 1.0], [2.0, 2.0]).p_value)
        assert judge_difference([1.0, 1.0], [1.0, 1.0]).p_value == 1.0
        known = judge_difference([1.0, 1.0, 1.0], [2.0, 2.0, 2.0], resolution=1.0)
        assert 0 < known.p_value < 1


@pytest.mark.parametrize("bad", [[], [1.0], [1.0, math.nan], [1.0, math.inf], [[1.0, 2.0]]])
def test_what_cannot_be_judged_is_refused(bad: list[float]) -> None:
    for judge_difference in (welch, bootstrap_difference):
        with pytest.raises(BadInput):
            judge_difference(bad, [1.0, 2.0])


def test_summaries_out_of_range_are_refused() -> None:
    for arguments in ((1, -1, 3, 1, 1, 3), (1, 1, 1, 1, 1, 3), (math.nan, 1, 3, 1, 1, 3)):
        with pytest.raises(BadInput):
            welch_from_summary(*arguments)
    with pytest.raises(BadInput):
        welch([1, 2], [1, 2], confidence=1.0)


def test_one_value_has_a_mean_and_no_interval() -> None:
    got = mean_of([3.0])
    assert (got.mean, got.count) == (3.0, 1)
    assert math.isnan(got.sd) and math.isnan(got.low)


@pytest.mark.parametrize(
    ("read", "step"), [([4210, 4630], 1.0), ([41.5, 42.0], 0.1), ([0.25], 0.01), ([1 / 3], 0.0), ([1e9], 1.0)]
)
def test_the_step_in_which_values_were_read(read: list[float], step: float) -> None:
    assert resolution_of(read) == pytest.approx(step)


def test_percent_change_of_nothing_is_not_known() -> None:
    assert math.isnan(percent_change(0.0, 5.0))
    assert percent_change(-10.0, -5.0) == 50.0


@given(st.lists(st.floats(0, 1), max_size=12))
def test_holm_never_lowers_a_p_and_keeps_their_order(p: list[float]) -> None:
    got = holm(p)
    for raw, adjusted in zip(p, got, strict=True):
        assert raw <= adjusted.p_value <= 1 or adjusted.p_value == pytest.approx(raw)
    order = sorted(range(len(p)), key=lambda i: p[i])
    assert [got[i].p_value for i in order] == sorted(one.p_value for one in got)


def test_holm_leaves_out_what_could_not_be_judged() -> None:
    got = holm([0.01, math.nan, 0.04])
    assert [one.p_value for one in got][::2] == [pytest.approx(0.02), pytest.approx(0.04)]
    assert math.isnan(got[1].p_value)
    with pytest.raises(BadInput):
        holm([1.2])


def test_blocks_widen_the_interval_of_a_log_whose_frames_hang_together() -> None:
    rng = np.random.default_rng(0)
    slow = np.repeat(rng.gamma(50, 0.2, 100), 60)
    shuffled = rng.permutation(slow)

    def mean(logs: np.ndarray) -> np.ndarray:
        return logs.mean(axis=1)[None, :]

    together = block_bootstrap(slow, mean)[0]
    apart = block_bootstrap(shuffled, mean, block_frames=1)[0]
    assert together.sd > 3 * apart.sd
    # The mean of 100 independent stretches: sd of one / 10.
    assert together.sd == pytest.approx(slow.std() / 10, rel=0.35)
    with pytest.raises(BadInput):
        block_bootstrap(np.ones(5), mean)


@given(st.lists(st.floats(0, 120), min_size=1, max_size=9))
def test_an_energy_mean_lies_between_the_arithmetic_mean_and_the_loudest(levels: list[float]) -> None:
    assert np.mean(levels) - 1e-9 <= mean_level(levels) <= max(levels) + 1e-9


@given(st.floats(0, 140), st.floats(0, 140))
def test_a_correction_never_adds_and_never_passes_its_largest(level: float, background: float) -> None:
    got = corrected_level(level, background)
    assert 0 <= got.correction <= 1.2563
    assert got.is_upper_bound == (level - background < 6)


@pytest.mark.parametrize("bad", [-1.0, 141.0, math.nan])
def test_levels_and_surfaces_that_cannot_be_are_refused(bad: float) -> None:
    with pytest.raises(BadInput):
        corrected_level(bad, None)
    with pytest.raises(BadInput):
        corrected_level(40.0, bad)
    with pytest.raises(BadInput):
        judge(bad * 100)
    with pytest.raises(BadInput):
        mean_level([])


def test_rooms() -> None:
    assert refer_to_room(80.0, 25.0, 21.0).celsius == 76.0
    assert refer_to_room(80.0, None, 21.0) == refer_to_room(80.0, math.nan, 21.0)
    assert not refer_to_room(94.0, 25.0, 21.0, ceiling_celsius=95.0).shifted
    hot = refer_to_room(90.0, 20.0, 30.0, ceiling_celsius=95.0)
    assert (hot.celsius, hot.shifted) == (95.0, True)
    assert "lose clock" in hot.note
    assert not refer_to_room(80.0, 25.0, 21.0, held_by_heat_share=0.2).shifted
