"""Thermal resistance by JESD51-1's definition, and non-negative least squares against scipy's."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.thermal.heat import resistance
from surefoot.thermal.least_squares import non_negative


@pytest.mark.parametrize(
    ("junction", "reference", "watts"), [(85.0, 25.0, 60.0), (66.0, 21.0, 45.0), (95.5, 21.5, 40.0)]
)
def test_definition(junction: float, reference: float, watts: float) -> None:
    """(junction - reference temperature) / power, after steady state: JEDEC JESD51-1, from memory."""
    assert resistance(junction, reference, watts).kelvin_per_watt == pytest.approx((junction - reference) / watts)


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("unknowns", [1, 2, 3])
def test_non_negative_least_squares_agrees_with_scipy(seed: int, unknowns: int) -> None:
    """Against scipy.optimize.nnls (Lawson and Hanson 1974)."""
    from scipy.optimize import nnls

    random = np.random.default_rng(seed)
    design = random.normal(size=(6, unknowns))
    target = random.normal(size=6)
    expected, _ = nnls(design, target)
    assert non_negative(design, target[None])[0] == pytest.approx(expected, abs=1e-7)


def test_many_designs_at_once() -> None:
    from scipy.optimize import nnls

    random = np.random.default_rng(1)
    designs, targets = random.uniform(0, 50, (40, 4, 2)), random.normal(20, 15, (40, 4))
    found = non_negative(designs, targets)
    for place in range(40):
        assert found[place] == pytest.approx(nnls(designs[place], targets[place])[0], abs=1e-7)
