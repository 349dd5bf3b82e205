"""Facts of the trade as plausibility bands. Common practice, no source.

A mid-size gaming laptop in a 21 °C room holds its CPU at about 25, 45 or 50 W by power mode with the GPU loaded too,
and at 60 W when the CPU is loaded alone; -150 mV there gave 4.0 GHz on all cores and, at the same clock with the CPU
alone, 11 °C less; a benchmark went from 2800 to 3100 points.

The voltage was not told: 1.05 ± 0.08 V is assumed, the default of the product. Nor was the temperature before: the
bands must hold from 75 to 90 °C.
"""

from __future__ import annotations

import pytest

from surefoot.thermal.forecast import ASSUMED, What, what_if
from surefoot.thermal.operating import OperatingPoint

OFFSET = What(offset_mv=-150.0)
BEFORE = pytest.mark.parametrize("celsius", [75.0, 80.0, 85.0, 90.0])


def test_the_voltage_assumed_is_the_one_stated() -> None:
    assert ASSUMED["cpu"].volts == (1.05, 0.08)
    made = what_if(OperatingPoint("cpu", 60.0, 80.0, 4000.0, None, 21.0, "free"), OFFSET)
    assert any("1.05 ± 0.08 V assumed" in text for text in made.assumptions)


@BEFORE
def test_eleven_degrees_less_at_the_same_clock(celsius: float) -> None:
    made = what_if(OperatingPoint("cpu", 60.0, celsius, 4000.0, None, 21.0, "free"), OFFSET)
    assert made.clock_mhz is not None
    assert made.clock_mhz.value == pytest.approx(4000.0)
    assert made.celsius.holds(celsius - 11.0)
    assert 5.0 < made.celsius.before - made.celsius.value < 17.0
    # Sharp enough to be of use: the band is not wider than twice what it tells.
    assert made.celsius.high - made.celsius.low < 20.0


@BEFORE
def test_four_gigahertz_at_the_power_limit(celsius: float) -> None:
    """2800 to 3100 points is a gain of 10.7 %; a score follows the clock, so the clock before was about 3.61 GHz."""
    made = what_if(OperatingPoint("cpu", 60.0, celsius, 4000.0 / (3100 / 2800), None, 21.0, "power"), OFFSET)
    assert made.clock_mhz is not None
    assert made.clock_mhz.holds(4000.0)
    assert 0.05 < made.clock_mhz.value / made.clock_mhz.before - 1.0 < 0.20
    assert made.watts.value == pytest.approx(60.0, rel=0.02)


def test_power_modes_give_less_clock_and_less_heat() -> None:
    point = OperatingPoint("cpu", 60.0, 85.0, 3600.0, None, 21.0, "power")
    made = [what_if(point, What(power_limit_watts=watts)) for watts in (50.0, 45.0, 25.0)]
    clocks = [one.clock_mhz.value for one in made if one.clock_mhz is not None]
    degrees = [one.celsius.value for one in made]
    assert clocks == sorted(clocks, reverse=True)
    assert degrees == sorted(degrees, reverse=True)
    # 25 of 60 W still runs at half of the clock and more: that is why such a mode exists.
    assert 0.45 < clocks[-1] / 3600.0 < 0.80
    assert 40.0 < degrees[-1] < 65.0
