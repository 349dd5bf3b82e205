"""Two traces side by side: aligned at the start of the load, differences with their intervals."""

from __future__ import annotations

import numpy as np
import pytest
from made_traces import Part, run_part

from surefoot.runs import Trace
from surefoot.thermal.explain import explain
from surefoot.thermal.picture import draw_both
from surefoot.thermal.side_by_side import SideBySide, side_by_side
from surefoot.units import Conditions


def compared(one: Trace, other: Trace, rooms: tuple[float, float] = (22.0, 22.0)) -> SideBySide:
    said = [explain(t, None, Conditions(ambient_celsius=room)) for t, room in zip((one, other), rooms, strict=True)]
    return side_by_side(one, other, said[0], said[1])


def row(found: SideBySide, name: str) -> tuple[float, float, float]:
    one = next(one for one in found.rows if one.name == name)
    return one.difference, one.low, one.high


def test_the_loads_begin_together_however_long_one_idled() -> None:
    early, _ = run_part(Part(), 10, seed=1)
    late, _ = run_part(Part(), 12, seed=2, idle_before=2.0)
    found = compared(early, late)
    assert found.offsets_seconds[1] - found.offsets_seconds[0] == pytest.approx(120, abs=5)
    assert found.minutes == pytest.approx(10, abs=0.2)
    apart = next(one for one in found.channels if one.channel == "cpu.power")
    assert float(np.nanmax(np.abs(apart.other - apart.one)[2:])) < 3.0


def test_a_difference_of_power_is_found_with_its_interval() -> None:
    one, _ = run_part(Part(), 12, seed=1)
    other, _ = run_part(Part(power_limit=Part().power_limit - 8.0), 12, seed=2)
    difference, low, high = row(compared(one, other), "cpu.power, mean")
    assert difference == pytest.approx(-8.0, abs=0.5)
    assert low <= difference <= high < 0
    final, low, high = row(compared(one, other), "cpu temperature, final")
    assert low <= -8.0 * Part().resistance <= high
    assert final < 0


def test_another_room_is_taken_off_and_said() -> None:
    one, _ = run_part(Part(power_limit=40.0), 14, seed=1)
    warm, _ = run_part(Part(power_limit=40.0, room=28.0), 14, seed=2)
    found = compared(one, warm, (22.0, 28.0))
    assert row(found, "cpu temperature, final")[0] == pytest.approx(6.0, abs=1.0)
    moved, low, high = row(found, "cpu temperature, final, in the first's room")
    assert abs(moved) < 1.5
    assert low <= 0 <= high
    assert any("6.0 °C warmer than that of the first" in note for note in found.notes)


def test_fans_that_ended_apart_are_said() -> None:
    one, _ = run_part(Part(), 8, seed=1)
    other, _ = run_part(Part(), 8, seed=2)
    slow = Trace(one.seconds, {**one.channels, "fan.fan": np.full(len(one), 1500.0)})
    fast = Trace(other.seconds, {**other.channels, "fan.fan": np.full(len(other), 2600.0)})
    assert any("cooling differs" in note for note in compared(slow, fast).notes)
    assert not any("cooling differs" in note for note in compared(slow, slow).notes)


def test_both_are_drawn_on_one_axis() -> None:
    minutes = np.linspace(0, 10, 120)
    lines = draw_both("cpu.power", minutes, np.full(120, 40.0), np.full(120, 60.0), width=60, plain=True)
    assert all(len(line) <= 60 for line in lines)
    assert "b" * 20 in lines[1]
    assert "a" * 20 in lines[6]
    assert "#" not in "".join(lines)
    together = draw_both("cpu.power", minutes, np.full(120, 40.0), np.full(120, 40.0), width=60, plain=True)
    assert "#" * 20 in "".join(together)
