"""Odd traces (NaN, constant, one sample, empty channels, wild values) give a result or a SurefootError."""

from __future__ import annotations

import json
import math

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.cli.common import to_json
from surefoot.errors import SurefootError
from surefoot.runs import Trace
from surefoot.thermal.explain import explain
from surefoot.thermal.heat import coupling
from surefoot.thermal.limiter import LABELS, Limits, limiters
from surefoot.thermal.operating import operating_point
from surefoot.thermal.steady import forecast_final, steady_state
from surefoot.thermal.stretches import heat_points
from surefoot.thermal.summary import summarise
from surefoot.units import Conditions, Unit

NAMES = (
    "cpu.temperature", "cpu.temperature.core-0", "cpu.clock", "cpu.power", "cpu.busy", "cpu.voltage",
    "cpu.thermal-flag",
    "cpu.power-limit.long", "cpu.clock-limit", "cpu.temperature-limit", "cpu.count.package-throttle", "gpu.temperature",
    "gpu.reasons", "gpu.power", "gpu.clock", "gpu.power-flag", "gpu.throttle-flag", "fan.fan", "room.temperature",
)  # fmt: skip


@st.composite
def odd_traces(draw: st.DrawFn) -> Trace:
    n = draw(st.sampled_from((0, 1, 2, 3, 7, 60, 400)))
    seed = draw(st.integers(0, 10_000))
    random = np.random.default_rng(seed)
    spacing = draw(st.sampled_from(("even", "random", "same", "gaps", "huge")))
    seconds = {
        "even": np.arange(float(n)),
        "random": np.sort(random.uniform(0, 900, n)),
        "same": np.zeros(n),
        "gaps": np.cumsum(random.choice([1.0, 1.0, 1.0, 5000.0], n)) if n else np.zeros(0),
        "huge": np.linspace(-1e9, 1e9, n),
    }[spacing]
    channels = {}
    for name in draw(st.lists(st.sampled_from(NAMES), max_size=5, unique=True)):
        kind = draw(st.sampled_from(("nan", "flat", "noise", "steps", "wild", "holes", "rise", "zero", "infinite")))
        channels[name] = {
            "nan": np.full(n, np.nan),
            "flat": np.full(n, 55.0),
            "noise": random.normal(50, 20, n),
            "steps": np.where(np.arange(n) < n / 2, 10.0, 90.0),
            "wild": random.normal(0, 1, n) * 10.0 ** random.integers(-9, 12, n),
            "holes": np.where(random.random(n) < 0.7, np.nan, random.normal(60, 5, n)),
            "rise": 90 - 60 * np.exp(-np.arange(n) / 40.0),
            "zero": np.zeros(n),
            "infinite": np.where(random.random(n) < 0.1, np.inf, 40.0),
        }[kind]
    return Trace(seconds, channels)


LIMITS = Limits({"cpu": 90.0}, {"cpu": 45.0, "gpu": 80.0}, {"gpu": 1800.0})
UNIT = Unit(name="x", ceilings_celsius={"cpu": 90}, power_limits_watts={"cpu": 53})


@given(trace=odd_traces(), known=st.booleans())
@settings(max_examples=examples(150), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_limiters_are_shares(trace: Trace, known: bool) -> None:
    for report in limiters(trace, LIMITS if known else None).values():
        assert set(report.shares) == set(LABELS)
        total = sum(report.shares.values())
        assert math.isclose(total, 1.0, abs_tol=1e-6) or (len(trace) == 0 and total == 0)
        assert all(-1e-9 <= share <= 1 + 1e-9 for share in report.shares.values())
        assert report.labels.shape == trace.seconds.shape
        assert 0 <= report.confidence <= 1
        assert math.isclose(sum(use.share for use in report.rules), total, abs_tol=1e-6)


@given(trace=odd_traces())
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_everything_else_answers_or_refuses(trace: Trace) -> None:
    for values in trace.channels.values():
        for judged in (steady_state(trace.seconds, values), forecast_final(trace.seconds, values)):
            assert judged.reason
            if judged.known:
                assert judged.low <= judged.final_celsius <= judged.high
    said = explain(trace, UNIT, Conditions(ambient_celsius=21.0))
    assert said.sentences
    json.loads(to_json(said.as_record()))
    for act in (
        lambda: summarise(trace),
        lambda: summarise(trace, 1.0),
        lambda: coupling(heat_points(trace, 21.0)),
        lambda: operating_point(trace, "cpu", LIMITS, 21.0),
    ):
        try:
            act()
        except SurefootError as error:
            assert error.message()
