"""Means, bootstrap and Holm against values and libraries from outside."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from surefoot.scores.bootstrap import bootstrap_difference
from surefoot.scores.means import mean_of, percent_change, welch, welch_from_summary
from surefoot.scores.multiple import holm

# The readings of the NIST/SEMATECH e-Handbook 7.2.6.2 (from memory).
NIST_READINGS = [
    95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682,
]  # fmt: skip


def test_welch_of_the_nag_example() -> None:
    # NAG Library Manual, g07cac example results (read).
    got = welch_from_summary(25, 0.8185, 4, 21, 4.208, 8)
    # The summaries are printed to four digits: sd 4.208 +- 0.0005 moves t by 0.0003.
    assert got.t == pytest.approx(2.5922, abs=3e-4)
    assert got.degrees == pytest.approx(7.99, abs=0.01)
    assert (got.low, got.high) == (pytest.approx(0.4410, abs=5e-4), pytest.approx(7.5590, abs=5e-4))


def test_welch_of_the_nist_example() -> None:
    # NIST/SEMATECH e-Handbook, two-sample t-test for equal means (from memory; recomputed).
    got = welch_from_summary(20.14458, 6.41470, 249, 30.48101, 6.10771, 79)
    assert got.t == pytest.approx(-12.94627, abs=2e-5)
    assert got.degrees == pytest.approx(136.875, abs=5e-3)
    assert got.high < 0


@pytest.mark.parametrize("seed", range(20))
def test_welch_agrees_with_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a = rng.normal(100, rng.uniform(0.1, 5), rng.integers(2, 12))
    b = rng.normal(101, rng.uniform(0.1, 5), rng.integers(2, 12))
    got, theirs = welch(a, b, 0.9), stats.ttest_ind(a, b, equal_var=False)
    interval = theirs.confidence_interval(0.9)
    assert got.t == pytest.approx(theirs.statistic)
    assert got.p_value == pytest.approx(theirs.pvalue)
    assert (got.low, got.high) == (pytest.approx(interval.low), pytest.approx(interval.high))


def test_mean_interval_agrees_with_scipy() -> None:
    got = mean_of(NIST_READINGS)
    interval = stats.ttest_1samp(NIST_READINGS, 0).confidence_interval(0.95)
    assert (got.low, got.high) == (pytest.approx(interval.low), pytest.approx(interval.high))


def test_gain_in_percent() -> None:
    # A fact of the trade: 2800 to 3100 points is a gain of 10.7 % (arithmetic).
    assert percent_change(2800, 3100) == pytest.approx(10.714, abs=5e-4)


@pytest.mark.parametrize("seed", range(5))
def test_holm_agrees_with_statsmodels(seed: int) -> None:
    p = np.random.default_rng(seed).uniform(0, 0.2, 7)
    theirs = multipletests(p, method="holm")[1]
    assert [item.p_value for item in holm(list(p))] == pytest.approx(list(theirs))


def test_bootstrap_of_many_runs_comes_to_scipys_percentile_interval() -> None:
    # With 200 runs a side every bootstrap interval agrees; scipy's is an independent implementation.
    rng = np.random.default_rng(4)
    a, b = rng.normal(100, 3, 200), rng.normal(98, 5, 200)
    got = bootstrap_difference(a, b)
    theirs = stats.bootstrap(
        (a, b), lambda x, y, axis: x.mean(axis) - y.mean(axis), method="BCa", n_resamples=4999, random_state=1
    ).confidence_interval
    assert (got.low, got.high) == (pytest.approx(theirs.low, abs=0.12), pytest.approx(theirs.high, abs=0.12))


@pytest.mark.parametrize(
    ("a", "b", "t", "p"),
    [
        # scipy's own tests of the unequal-variance t-test, there checked against R (from memory; scipy agrees).
        ((1, 2, 3), (1.1, 2.9, 4.2), -0.68649512735572582, 0.53619490753126731),
        ((1, 2, 3, 4), (1.1, 2.9, 4.2), -0.2108663315950719, 0.84354139131608286),
    ],
)
def test_welch_of_scipys_own_tests(a: tuple[float, ...], b: tuple[float, ...], t: float, p: float) -> None:
    got = welch(a, b)
    assert (got.t, got.p_value) == (pytest.approx(t), pytest.approx(p))
    theirs = stats.ttest_ind(a, b, equal_var=False)
    assert (theirs.statistic, theirs.pvalue) == (pytest.approx(t), pytest.approx(p))
