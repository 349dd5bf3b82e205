"""What if: forecasts against a generated part whose physics is known, and how good a forecast was."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_silicon import Silicon
from made_traces import Part, run_part

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.asked import Question, change_asked, forecast_from, judge_runs, record_of
from surefoot.thermal.forecast import Forecast, What, judge_forecast, what_if
from surefoot.thermal.limiter import Limits
from surefoot.thermal.operating import OperatingPoint, operating_point
from surefoot.units import Conditions, Knob, Setting, Unit

UNIT = Unit(
    name="shoebox-3",
    knobs=(
        Knob("cpu-core", "cpu", "mV", "down", 5, 250),
        Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core"),
        Knob("gpu-memory", "gpu", "MHz", "up", 50, 1000),
        Knob("gpu-core", "gpu", "MHz", "up", 15, 300),
    ),
    ceilings_celsius={"cpu": 97},
)


@pytest.mark.parametrize("limit", ["free", "power", "thermal"])
@pytest.mark.parametrize("change", ["offset", "room", "cooling"])
def test_intervals_cover_a_population_of_parts(limit: str, change: str) -> None:
    """95 % intervals hold at least 90 % of what generated parts do, and halve the error of expecting no change."""
    inside, errors, naive = [], [], []
    for seed in range(40):
        part = Silicon(seed)
        offset, room, cooling = -0.1, part.room, 1.0
        if change == "room":
            offset, room = 0.0, part.room + 7.0
        elif change == "cooling":
            offset, cooling = 0.0, 0.85
        what = What(offset * 1000, 0.0, None, room if change == "room" else None, cooling)
        made = what_if(part.point(limit), what)
        watts, celsius, mhz = part.under(limit, offset, room, cooling)
        assert made.clock_mhz is not None
        inside += [made.watts.holds(watts), made.celsius.holds(celsius), made.clock_mhz.holds(mhz)]
        for guess, true, scale in ((made.watts, watts, 60), (made.celsius, celsius, 80), (made.clock_mhz, mhz, 3700)):
            errors.append(abs(guess.value - true) / scale)
            naive.append(abs(guess.before - true) / scale)
    assert np.mean(inside) >= 0.90
    assert np.mean(errors) < 0.6 * np.mean(naive)


@pytest.mark.parametrize("limit", ["power", "thermal"])
def test_steep_voltage_clock_curves_are_covered(limit: str) -> None:
    """Near its top a curve may cost half a volt a GHz: the clock gained is then much less."""
    inside = []
    for seed in range(30):
        part = Silicon(seed)
        part.slope = 0.35 + 0.2 * (seed / 30)
        made = what_if(part.point(limit), What(-80.0))
        watts, celsius, mhz = part.under(limit, -0.08, part.room, 1.0)
        assert made.clock_mhz is not None
        inside += [made.watts.holds(watts), made.celsius.holds(celsius), made.clock_mhz.holds(mhz)]
    assert np.mean(inside) >= 0.90


def test_a_slope_that_the_run_shows_is_used() -> None:
    part = Silicon(4)
    flat, steep = (
        OperatingPoint(
            "cpu", part.watts, part.celsius, part.mhz, part.volts, part.room, "power", volts_per_ghz=(slope, slope)
        )
        for slope in (0.15, 0.55)
    )
    gain = [made.clock_mhz.change for one in (flat, steep) if (made := what_if(one, What(-80.0))).clock_mhz]
    assert gain[0] > 1.3 * gain[1] > 0


def test_a_power_limit_that_nobody_told_is_used() -> None:
    """An undervolt under a power limit raises the clock and keeps the power, whatever the card says."""
    trace, _ = run_part(Part(power_limit=40.0), 15, seed=3, idle_before=0.5)
    for limits in (Limits(), Limits({}, {"cpu": 55.0})):
        point = operating_point(trace, "cpu", limits, room=22.0)
        assert point.limiter == "power"
        assert point.power_limit_watts == pytest.approx(40, rel=0.02)
        made = what_if(point, What(-80.0))
        assert made.clock_mhz is not None
        assert made.clock_mhz.low > (point.clock_mhz or 0)
        assert made.watts.value == pytest.approx(40, rel=0.03)
        assert any("as the run shows" in text for text in made.assumptions)


def test_at_the_throttle_point_the_clock_rises_and_the_temperature_stays() -> None:
    part = Part(power_limit=200.0, ceiling=84.0, full_watts=75.0)
    trace, _ = run_part(part, 15, seed=3)
    point = operating_point(trace, "cpu", Limits({"cpu": 99.0}), room=22.0)
    assert point.limiter == "thermal"
    made = what_if(point, What(-80.0))
    assert made.celsius.value == pytest.approx(84.0, abs=1.0)
    assert made.clock_mhz is not None
    assert made.clock_mhz.low > (point.clock_mhz or 0)


def test_no_change_forecasts_what_was_measured() -> None:
    for limit in ("free", "power", "thermal", "unknown"):
        point = Silicon(3).point(limit)
        made = what_if(point, What())
        assert made.watts.value == pytest.approx(point.watts, rel=0.01)
        assert made.celsius.value == pytest.approx(point.celsius, abs=0.3)
        assert made.clock_mhz is not None
        assert made.clock_mhz.value == pytest.approx(point.clock_mhz, rel=0.005)


def test_the_same_question_has_the_same_answer() -> None:
    point = Silicon(1).point("power")
    assert what_if(point, What(-80.0)) == what_if(point, What(-80.0))


@given(depths=st.lists(st.integers(0, 200), min_size=2, max_size=2, unique=True), seed=st.integers(0, 30))
@settings(max_examples=30, deadline=None)
def test_deeper_is_never_hotter_nor_slower(depths: list[int], seed: int) -> None:
    shallow, deep = sorted(depths)
    for limit in ("free", "power", "thermal"):
        point = Silicon(seed).point(limit)
        one, other = what_if(point, What(-float(shallow))), what_if(point, What(-float(deep)))
        assert other.celsius.value <= one.celsius.value + 0.05
        assert one.clock_mhz is not None
        assert other.clock_mhz is not None
        assert other.clock_mhz.value >= one.clock_mhz.value * 0.9999


def test_a_part_at_its_ceiling_moves_its_clock_and_not_its_temperature() -> None:
    point = Silicon(5).point("thermal")
    warm = what_if(point, What(room_celsius=point.room_celsius + 8))  # type: ignore[operator]
    assert warm.celsius.value == pytest.approx(point.celsius, abs=0.5)
    assert warm.clock_mhz is not None
    assert warm.clock_mhz.value < 0.98 * warm.clock_mhz.before
    assert warm.limiter == "thermal"


def test_a_known_highest_clock_ends_the_gain() -> None:
    point = OperatingPoint("cpu", 53, 75, 3800, 1.05, 22, "power", free_clock_mhz=3900)
    made = what_if(point, What(-150.0))
    assert made.clock_mhz is not None
    assert made.clock_mhz.value == pytest.approx(3900, rel=0.005)
    assert made.watts.value < 44
    assert made.limiter == "free"
    assert made.volts_from == "measured"


def test_a_measured_voltage_narrows_the_forecast() -> None:
    point = OperatingPoint("cpu", 60, 80, 4000, None, 22, "free")
    known = OperatingPoint("cpu", 60, 80, 4000, 1.05, 22, "free", fan_fixed=True)
    assumed, measured = what_if(point, What(-100.0)), what_if(known, What(-100.0))
    assert measured.watts.high - measured.watts.low < assumed.watts.high - assumed.watts.low
    assert measured.celsius.high - measured.celsius.low < assumed.celsius.high - assumed.celsius.low


def test_a_clock_offset_costs_no_voltage() -> None:
    point = OperatingPoint("gpu", 80, 78, 1700, None, 22, "free")
    made = what_if(point, What(offset_mhz=120.0))
    assert made.clock_mhz is not None
    assert made.clock_mhz.value == pytest.approx(1820, rel=0.003)
    # Power follows f alone, less the share that does not see the clock: between 1.04 and 1.07 times.
    assert 1.03 < made.watts.value / 80 < 1.08


@pytest.mark.parametrize(
    "change",
    [
        {"offset_mv": float("nan")},
        {"offset_mv": -900.0},
        {"cooling_factor": 0.0},
        {"power_limit_watts": 0.0},
        {"room_celsius": 200.0},
    ],
)
def test_changes_out_of_reason_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(BadInput):
        what_if(OperatingPoint("cpu", 60, 80, 4000, 0.6, 22, "free"), What(**change))


def test_a_record_comes_back_as_it_went() -> None:
    made = what_if(Silicon(2).point("power"), What(-95.0, room_celsius=24.0))
    assert Forecast.from_record(made.as_record()) == made
    with pytest.raises(BadInput, match="not a forecast"):
        Forecast.from_record({"domain": "cpu"})


def test_a_verdict_tells_right_from_wrong() -> None:
    made = what_if(OperatingPoint("cpu", 60, 80, 4000, 1.05, 22, "free"), What(-100.0))
    clock = made.clock_mhz
    assert clock is not None
    right = judge_forecast(
        made, OperatingPoint("cpu", made.watts.value, made.celsius.value, clock.value, None, 22, "free")
    )
    assert right.good
    assert all(verdict.error == pytest.approx(0, abs=1e-9) for verdict in right.quantities)
    wrong = judge_forecast(made, OperatingPoint("cpu", 60, 80, 3000, None, 22, "free"))
    assert not wrong.good
    assert [verdict.inside for verdict in wrong.quantities] == [False, False, False]
    assert "0 of 3" in wrong.sentence
    warmer = judge_forecast(
        made, OperatingPoint("cpu", made.watts.value, made.celsius.value + 6, clock.value, None, 28, "free")
    )
    assert warmer.good
    assert "re-referred" in warmer.warnings[0]
    with pytest.raises(BadInput, match="gpu"):
        judge_forecast(made, OperatingPoint("gpu", 60, 80))


def test_the_operating_point_is_read_from_the_end_of_a_trace() -> None:
    part = Part(short_limit=64.0)
    trace, _ = run_part(part, 20, seed=1, idle_before=1)
    trace = Trace(trace.seconds, {**trace.channels, "cpu.voltage": np.full(len(trace), 1.02)})
    point = operating_point(trace, "cpu", Limits({"cpu": 95}, {"cpu": 53}), room=22.0)
    assert point.watts == pytest.approx(53, rel=0.01)
    assert point.celsius == pytest.approx(22 + 53 * part.resistance, abs=0.5)
    assert point.limiter == "power"
    assert point.volts == pytest.approx(1.02)
    assert point.settled
    without = Trace(trace.seconds, {"cpu.temperature": trace.channels["cpu.temperature"]})
    with pytest.raises(BadInput, match="power of the cpu"):
        operating_point(without, "cpu")


def test_offsets_are_asked_as_they_stand_on_the_knob() -> None:
    at = Setting(values={"cpu-core": -60, "gpu-core": 90, "gpu-memory": 400})
    assert change_asked(UNIT, at, Question("cpu", offset_mv=-80.0)).offset_mv == -20.0
    assert change_asked(UNIT, at, Question("cpu", offset_mv=0.0)).offset_mv == 60.0
    assert change_asked(UNIT, at, Question("gpu", offset_mhz=120.0)).offset_mhz == 30.0
    with pytest.raises(BadInput, match="above stock"):
        change_asked(UNIT, at, Question("cpu", offset_mv=5.0))
    with pytest.raises(BadInput, match="nothing is asked"):
        change_asked(UNIT, at, Question("cpu"))


def test_the_forecast_that_fits_the_second_run_is_judged() -> None:
    trace, _ = run_part(Part(), 15, seed=1)
    stock, room = Setting(), Conditions(ambient_celsius=22.0)
    records = []
    for offset in (-40.0, -80.0, -120.0):
        made = forecast_from(trace, UNIT, stock, room, Question("cpu", offset_mv=offset))
        records.append(record_of(made, UNIT, stock))
    after, _ = run_part(Part(full_watts=60.0), 15, seed=2)
    at = Setting(values={"cpu-core": -80.0, "cpu-cache": -80.0})
    judged = judge_runs((trace, stock, room), (after, at, room), UNIT, records)
    assert judged.forecast.what.offset_mv == -80.0
    assert judged.made == "before"
    assert judged.notes == ()
    other = judge_runs((trace, stock, room), (after, at, room), UNIT, records[:1])
    assert "-40 mV" in other.notes[0]
    now = judge_runs((trace, stock, room), (after, at, room), UNIT, [])
    assert now.made == "now"
    assert now.forecast.what.offset_mv == -80.0
