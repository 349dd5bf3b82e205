"""Whatever a journal holds, the report of it can be made: every chart is drawn, nothing raises, no number is 'nan'."""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from how_many import examples
from surefoot.journal import Journal
from surefoot.report.html import data_text
from surefoot.report.material import collect
from surefoot.report.picture import PAGE
from surefoot.report.sections import build
from surefoot.runs import Closing, Outcome, Reading, RunPlan, Score, Trace
from surefoot.units import Conditions, Knob, Setting, Unit

KNOBS = (
    Knob("core", "cpu", "mV", "down", 5, 120),
    Knob("clock", "gpu", "MHz", "up", 15, 240),
    Knob("power cap", "cpu", "W", "down", 1, 20),
)
NUMBERS = st.floats(-1e6, 1e6).filter(lambda value: value == 0 or abs(value) > 1e-6)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    n = draw(st.integers(0, 60))
    names = draw(
        st.lists(
            st.sampled_from(
                ["cpu.temperature", "cpu.clock", "cpu.power", "gpu.temperature", "gpu.fan", "frame.frame-time"]
            ),
            unique=True,
        )
    )
    rng = np.random.default_rng(draw(st.integers(0, 999)))
    gaps = draw(st.booleans())
    channels = {}
    for name in names:
        values = rng.uniform(20, 4000, n)
        channels[name] = np.where(rng.random(n) < 0.3, np.nan, values) if gaps else values
    return Trace(np.cumsum(rng.uniform(0, 5, n)), channels)


@st.composite
def runs(draw: st.DrawFn) -> tuple[RunPlan, Closing, Trace | None, list[Score], list[Reading]]:
    knobs = draw(st.lists(st.sampled_from(KNOBS), unique=True, max_size=3))
    setting = Setting(
        values={
            knob.name: knob.value_at(knob.step * draw(st.integers(0, int(knob.limit / knob.step)))) for knob in knobs
        }
    )
    outcome = draw(st.sampled_from(list(Outcome)))
    minutes = draw(st.floats(0, 600))
    plan = RunPlan(
        unit_name="any",
        setting=setting,
        load=draw(st.sampled_from(["a", "b", ""])),
        planned_minutes=minutes,
        purpose=draw(st.sampled_from(["search", "joint", "measure", "baseline", "soak", "log", "game"])),
        knob=draw(st.sampled_from([None, *(knob.name for knob in KNOBS)])),
        conditions=Conditions(
            ambient_celsius=draw(st.none() | st.floats(10, 35)),
            power_mode=draw(st.none() | st.sampled_from(["evening", "</script>"])),
        ),
    )
    closing = Closing(outcome=outcome, minutes=minutes, judged_by="", timed=draw(st.booleans()))
    score = st.builds(Score, name=st.sampled_from(["points", "fps, 1 % low"]), value=NUMBERS)
    reading = st.builds(
        Reading,
        kind=st.sampled_from(["sound", "surface", "wall-power", "battery"]),
        value=st.floats(0, 90),
        background=st.none() | st.floats(20, 60),
        place=st.sampled_from(["", "left"]),
        state=st.sampled_from(["idle", "load"]),
    )
    return (
        plan,
        closing,
        draw(st.none() | traces()),
        draw(st.lists(score, max_size=2)),
        draw(st.lists(reading, max_size=2)),
    )


@settings(max_examples=examples(25), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(runs(), max_size=12))
def test_the_report_of_any_history_is_made(
    history: list[tuple[RunPlan, Closing, Trace | None, list[Score], list[Reading]]],
) -> None:
    at = datetime(2026, 5, 4, tzinfo=UTC)
    with tempfile.TemporaryDirectory() as home, Journal.open(Path(home)) as journal:
        journal.add_unit(Unit(name="any", knobs=KNOBS))
        for number, (plan, closing, trace, scores, readings) in enumerate(history):
            run = journal.log_run(plan, closing, at=at + timedelta(hours=number))
            if trace is not None and len(trace):
                journal.add_trace(run, trace)
            for score in scores:
                journal.add_score("any", score, run_id=run)
            for reading in readings:
                journal.add_reading("any", reading, run_id=run)
        view = build(collect(journal, "any"))
    assert len({chart.key for chart in view.pictures()}) == len(view.pictures())
    for chart in view.pictures():
        text = data_text(chart.spec(PAGE))
        assert "</script" not in text and json.loads(text)["layer"]
        assert " nan" not in f"{chart.title} {chart.note} {chart.description}".lower(), chart.key
    for section in view.sections:
        assert section.answer or section.blocks or section.tables or section.list or section.empty, section.key
