"""Dynamic power is proportional to V squared times f at constant activity (Weste and Harris, from memory)."""

from __future__ import annotations

import pytest

from surefoot.thermal.forecast import Assumptions, What, what_if
from surefoot.thermal.operating import OperatingPoint

# Nothing but the dynamic term: no leakage, no power aside, no spread.
PURE = Assumptions(
    volts=(1.0, 0.0),
    volts_per_ghz=(0.0, 0.0),
    aside_share=(0.0, 0.0),
    usual_mhz=4000.0,
    static_share=(0.0, 0.0),
    fan_share=(1.0, 1.0),
    repeat_watts_share=0.0,
    repeat_celsius=0.0,
    repeat_clock_share=0.0,
)


@pytest.mark.parametrize("offset_mv", [-25.0, -80.0, -150.0])
def test_power_falls_with_the_square_of_the_voltage(offset_mv: float) -> None:
    point = OperatingPoint("cpu", 60.0, 81.0, 4000.0, None, 21.0, "free", spread_celsius=0.0)
    found = what_if(point, What(offset_mv), PURE)
    ratio = (1.0 + offset_mv / 1000.0) ** 2
    assert found.watts.value == pytest.approx(60.0 * ratio, rel=1e-6)
    # And the rise with the power, at one resistance (JESD51-1): 1 K/W here.
    assert found.celsius.value == pytest.approx(21.0 + 60.0 * ratio, abs=0.05)
    assert found.clock_mhz is not None
    assert found.clock_mhz.value == pytest.approx(4000.0)


@pytest.mark.parametrize("limit", [30.0, 45.0])
def test_power_falls_in_proportion_to_the_clock_at_one_voltage(limit: float) -> None:
    point = OperatingPoint("cpu", 60.0, 81.0, 4000.0, None, 21.0, "power", spread_celsius=0.0)
    found = what_if(point, What(power_limit_watts=limit), PURE)
    assert found.clock_mhz is not None
    assert found.clock_mhz.value == pytest.approx(4000.0 * limit / 60.0, rel=1e-5)
    assert found.limiter == "power"


def test_at_one_power_the_clock_gains_what_the_voltage_gave() -> None:
    point = OperatingPoint("cpu", 60.0, 81.0, 4000.0, None, 21.0, "power", spread_celsius=0.0)
    found = what_if(point, What(-100.0), PURE)
    assert found.clock_mhz is not None
    assert found.clock_mhz.value == pytest.approx(4000.0 / 0.9**2, rel=1e-5)
    assert found.watts.value == pytest.approx(60.0, rel=1e-5)
