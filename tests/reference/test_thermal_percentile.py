"""Percentiles. Source: NIST/SEMATECH e-Handbook 7.2.6.2, twelve readings (recomputed; the page from memory)."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.thermal.percentile import Rule, percentile

READINGS = [
    95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682,
]  # fmt: skip


@pytest.mark.parametrize(("rule", "expected"), [("n+1", 95.1981), ("linear", 95.1957)])
def test_ninetieth_percentile_of_the_handbook(rule: Rule, expected: float) -> None:
    assert percentile(READINGS, 90, rule) == pytest.approx(expected, abs=5e-5)


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.floats(0, 100))
def test_both_rules_agree_with_numpy(values: list[float], percent: float) -> None:
    """Against numpy.percentile, methods "linear" and "weibull" (the (n + 1)p rule)."""
    pairs: tuple[tuple[Rule, Literal["linear", "weibull"]], ...] = (("linear", "linear"), ("n+1", "weibull"))
    for rule, method in pairs:
        expected = float(np.percentile(values, percent, method=method))
        assert percentile(values, percent, rule) == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_what_is_not_a_percentage_is_refused() -> None:
    for percent in (-1, 101, float("nan")):
        with pytest.raises(BadInput):
            percentile(READINGS, percent)
    with pytest.raises(BadInput, match="rule"):
        percentile(READINGS, 50, "nearest")  # type: ignore[arg-type]
    assert np.isnan(percentile([], 50))


def test_percentiles_of_numpys_own_tests() -> None:
    # numpy's own tests of np.percentile, 40th percentile: linear 29, Weibull's (n + 1) p rule 26 (from memory).
    values = [15.0, 20.0, 35.0, 40.0, 50.0]
    assert percentile(values, 40) == pytest.approx(29)
    assert percentile(values, 40, "n+1") == pytest.approx(26)
