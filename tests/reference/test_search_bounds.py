"""MTTF bounds against chi-square tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from surefoot.errors import BadInput
from surefoot.search.bounds import hours_to_claim, mttf_lower_bound
from surefoot.search.likelihood import log_likelihood


def test_no_failures_is_the_exponential_bound() -> None:
    # NIST/SEMATECH e-Handbook (from memory, recomputed): 230.26 h for 100 h at 90 %.
    assert hours_to_claim(100.0, 0.90) == pytest.approx(230.26, abs=5e-3)
    assert mttf_lower_bound(230.2585, 0, 0.90) == pytest.approx(100.0, abs=1e-4)


@pytest.mark.parametrize(("failures", "chi_square"), [(0, 4.605), (1, 7.779), (2, 10.645)])
def test_bounds_follow_the_chi_square_table(failures: int, chi_square: float) -> None:
    # NIST/SEMATECH e-Handbook, chi-square table at 0.90 with 2, 4, 6 degrees (from memory, recomputed with scipy).
    assert 2 * 500.0 / mttf_lower_bound(500.0, failures, 0.90) == pytest.approx(chi_square, abs=5e-4)
    assert stats.chi2.ppf(0.90, 2 * failures + 2) == pytest.approx(chi_square, abs=5e-4)


def test_rule_of_three() -> None:
    # Hanley and Lippman-Hand 1983 (from memory): the 95 % bound on a failure chance after n passes is about 3 / n.
    assert 100.0 / mttf_lower_bound(100.0, 0, 0.95) == pytest.approx(3.0, abs=0.005)


@pytest.mark.parametrize("failures", [0, 1, 3])
def test_the_search_likelihood_alone_gives_the_chi_square_bound(failures: int) -> None:
    # One depth, no prior belief: with a flat prior on the hazard the posterior after f failures in T hours is gamma
    # with f + 1 degrees, whose quantile is the chi-square bound. The likelihood here is the one the search uses.
    hours, confidence = 200.0, 0.90
    hazard = np.linspace(1e-7, 0.2, 400_001)
    each = hours / (failures + 1)
    log_weight = log_likelihood(hazard, each, False)
    for _ in range(failures):
        log_weight = log_weight + log_likelihood(hazard, each, True)
    weight = np.exp(log_weight - log_weight.max())
    total = np.cumsum(weight) / weight.sum()
    bound = 1.0 / float(np.interp(confidence, total, hazard))
    assert bound == pytest.approx(mttf_lower_bound(hours, failures, confidence), rel=1e-3)


@pytest.mark.parametrize("arguments", [(-1.0, 0, 0.9), (float("nan"), 0, 0.9), (1.0, -1, 0.9), (1.0, 0, 1.0)])
def test_bad_numbers_are_refused(arguments: tuple[float, int, float]) -> None:
    with pytest.raises(BadInput):
        mttf_lower_bound(*arguments)
