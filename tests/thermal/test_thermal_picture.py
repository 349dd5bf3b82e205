"""The terminal picture."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_traces import Part, run_part

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.limiter import limiters
from surefoot.thermal.picture import draw, usual_channels


def test_a_ramp_rises_from_the_lower_left_to_the_upper_right() -> None:
    trace = Trace(np.arange(600.0), {"cpu.temperature": np.linspace(40, 90, 600)})
    lines = draw(trace, ["cpu.temperature"], rows=5, plain=True)
    assert "cpu.temperature (degC)" in lines[0]
    body = [line[11:] for line in lines[1:6]]
    firsts = [line.index("*") for line in body]
    assert firsts == sorted(firsts, reverse=True)
    assert lines[1].strip().startswith("90.0")
    assert lines[5].strip().startswith("40.0")
    assert lines[-1].split() == ["0.0", "5.0", "10.0", "min"]


def test_braille_dots_are_where_the_samples_are() -> None:
    trace = Trace(np.array([0.0, 60.0]), {"cpu.power": np.array([10.0, 50.0])})
    lines = draw(trace, ["cpu.power"], rows=2, width=42)
    assert lines[1].endswith(chr(0x2800 + 0x08))  # the right column's top dot
    assert lines[2].split("│")[1] == chr(0x2800 + 0x40)  # the left column's bottom dot


def test_the_limiter_strip_uses_letters() -> None:
    trace, _ = run_part(Part(), 8, seed=1, idle_before=2)
    lines = draw(trace, usual_channels(trace), reports=limiters(trace))
    strip = next(line for line in lines if line.lstrip().startswith("cpu held"))
    assert strip.count("P") > 40
    assert strip.count("_") > 10
    assert any("P power" in line for line in lines)


@given(
    width=st.integers(40, 160),
    rows=st.integers(2, 12),
    plain=st.booleans(),
    values=st.lists(st.one_of(st.floats(-1e9, 1e9), st.just(float("nan"))), min_size=1, max_size=60),
)
@settings(max_examples=60, deadline=None)
def test_no_line_is_too_long(width: int, rows: int, plain: bool, values: list[float]) -> None:
    trace = Trace(np.arange(float(len(values))), {"cpu.temperature": np.array(values), "gpu.power.a": np.array(values)})
    lines = draw(
        trace, ["cpu.temperature", "gpu.power.a"], width=width, rows=rows, plain=plain, reports=limiters(trace)
    )
    assert all(len(line) <= width for line in lines)
    if plain:
        assert all(line.isascii() for line in lines)


def test_what_cannot_be_drawn_is_said() -> None:
    trace = Trace(np.arange(5.0), {"cpu.power": np.ones(5)})
    with pytest.raises(BadInput, match=r"gpu\.clock"):
        draw(trace, ["gpu.clock"])
    with pytest.raises(BadInput, match="columns"):
        draw(trace, ["cpu.power"], width=20)
    with pytest.raises(BadInput, match="no samples"):
        draw(Trace(np.zeros(0), {"cpu.power": np.zeros(0)}), ["cpu.power"])
