"""Fewer points, every peak kept."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from surefoot.report.downsample import buckets

VALUES = arrays(np.float64, st.integers(0, 400), elements=st.floats(-1e6, 1e6))


@given(VALUES, st.integers(1, 60), st.integers(0, 2**32 - 1))
def test_least_and_greatest_survive_and_order_is_kept(values: np.ndarray, count: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    seconds = np.sort(rng.uniform(0, 1000, values.size))
    known = values.copy()
    known[rng.random(values.size) < 0.2] = np.nan
    at, mean, low, high = buckets(seconds, known, count)
    there = known[np.isfinite(known)]
    assert len(at) == len(mean) == len(low) == len(high)
    assert len(at) <= max(count, 1) or len(at) == len(there) <= count
    if there.size:
        assert low.min() == there.min() and high.max() == there.max()
        assert np.all(np.diff(at) >= 0)
        slack = 1e-9 * (1 + np.abs(mean))
        assert np.all(low <= mean + slack) and np.all(mean <= high + slack)
    else:
        assert at.size == 0


def test_few_points_are_left_as_they_are() -> None:
    at, mean, low, high = buckets(np.array([0.0, 1.0, 2.0]), np.array([3.0, np.nan, 5.0]), 10)
    assert at.tolist() == [0, 2] and mean.tolist() == low.tolist() == high.tolist() == [3, 5]


def test_a_single_spike_in_a_day_is_seen() -> None:
    seconds = np.arange(86_400.0)
    values = np.full(86_400, 60.0)
    values[50_000] = 99.0
    at, mean, _, high = buckets(seconds, values, 240)
    assert len(at) == 240 and high.max() == 99 and abs(at[high.argmax()] - 50_000) < 400
    assert mean.max() < 61
