"""Runs and traces: what an outcome says, what a trace refuses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.runs import QUANTITIES, Channel, Outcome, Trace
from surefoot.units import Knob

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)


def test_what_an_outcome_says_of_a_knob() -> None:
    """The design: overheat and void are no evidence; slow is a failure for a clock knob."""
    for knob in (CORE, CLOCK):
        assert Outcome.HELD.verdict(knob) is False
        assert Outcome.OVERHEAT.verdict(knob) is None and Outcome.VOID.verdict(knob) is None
        for outcome in (Outcome.MISCOMPUTE, Outcome.CORRECTED, Outcome.DRIVER_RESET, Outcome.HANG, Outcome.RESET):
            assert outcome.verdict(knob) is True
    assert Outcome.SLOW.verdict(CLOCK) is True and Outcome.SLOW.verdict(CORE) is None
    assert all(outcome.says for outcome in Outcome)


def test_channels() -> None:
    assert str(Channel.parse("cpu.temperature.core-3")) == "cpu.temperature.core-3"
    assert Channel.parse("gpu.power").unit == "W"
    for wrong in ("cpu", "cpu.colour", ".temperature", ""):
        with pytest.raises(BadInput):
            Channel.parse(wrong)


@given(
    st.lists(
        st.tuples(
            st.floats(0, 1e6), st.dictionaries(st.sampled_from(["cpu.temperature", "gpu.power"]), st.floats(-50, 500))
        ),
        max_size=20,
    )
)
def test_a_trace_keeps_every_sample(samples: list[tuple[float, dict[str, float]]]) -> None:
    samples.sort(key=lambda sample: sample[0])
    trace = Trace.from_samples(samples)
    assert len(trace) == len(samples)
    for place, (_, values) in enumerate(samples):
        for name, channel in trace.channels.items():
            assert channel[place] == values[name] if name in values else np.isnan(channel[place])
    frame = trace.to_frame()
    assert frame.shape == (len(samples), len(trace.channels))


def test_a_trace_that_cannot_be_is_refused() -> None:
    with pytest.raises(BadInput, match="backwards"):
        Trace(np.array([1.0, 0.0]))
    with pytest.raises(BadInput, match="values for"):
        Trace(np.array([0.0, 1.0]), {"cpu.temperature": np.array([1.0])})
    with pytest.raises(BadInput, match="not a channel"):
        Trace(np.array([0.0]), {"cpu.colour": np.array([1.0])})
    with pytest.raises(BadInput, match="finite"):
        Trace(np.array([np.nan]))
    assert QUANTITIES["temperature"] == "°C"
