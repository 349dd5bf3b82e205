"""The journal as DataFrames."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

import surefoot
from surefoot.errors import BadInput, JournalError
from surefoot.report.frames import RUN_COLUMNS, JournalFrames


@pytest.fixture
def frames(demo_home: Path) -> Iterator[JournalFrames]:
    with surefoot.open_journal(demo_home) as opened:
        yield opened


def test_runs(frames: JournalFrames) -> None:
    runs = frames.runs("shoebox-3")
    assert list(runs.columns[: len(RUN_COLUMNS)]) == list(RUN_COLUMNS)
    assert {"setting.cpu-core", "setting.cpu-cache", "setting.gpu-core"} <= set(runs.columns)
    assert runs["run"].is_unique and runs["begun"].is_monotonic_increasing
    assert str(runs["begun"].dt.tz) == "UTC" and (runs["ended"] >= runs["begun"]).all()
    assert (runs["setting.cpu-core"] <= 0).all() and (runs["setting.gpu-core"] >= 0).all()
    assert set(runs.loc[runs["purpose"] == "measure", "outcome"]) == {"held"}
    assert {"held", "reset"} <= set(runs["outcome"])
    assert runs["ambient_celsius"].between(21, 26).all()


def test_a_trace_and_all_traces(frames: JournalFrames) -> None:
    one = frames.trace(1)
    assert one.index.name == "seconds" and one.index.is_monotonic_increasing
    assert one["cpu.temperature"].between(30, 100).all()
    every = frames.traces("shoebox-3", ["cpu.temperature", "no.power"])
    assert list(every.columns) == ["run", "seconds", "cpu.temperature", "no.power"]
    assert len(every.loc[every["run"] == 1]) == len(one) and every["no.power"].isna().all()


def test_scores_and_readings(frames: JournalFrames) -> None:
    scores = frames.scores("shoebox-3")
    assert str(scores["run"].dtype) == "Int64" and set(scores["unit"]) == {"points", "fps"}
    curves = frames.frame_times("shoebox-3")
    assert set(curves["scene"]) == {"clock tower"} and len(curves) == 13 * curves["run"].nunique()
    readings = frames.readings("shoebox-3")
    assert set(readings["kind"]) == {"sound", "surface", "wall-power"}
    sound = readings[readings["kind"] == "sound"]
    assert (sound["unit"] == "dB(A)").all() and sound["background"].notna().all()
    assert readings.loc[readings["kind"] != "sound", "background"].isna().all()


def test_comparison_and_limiters(frames: JournalFrames) -> None:
    compared = frames.comparison("shoebox-3", ["dust out, tuned"], baseline="dust out")
    assert set(compared["configuration"]) == {"dust out, tuned", "dust out"}
    points = compared[compared["metric"] == "gear sums"].set_index("configuration")
    assert points.loc["dust out", "verdict"] == "baseline"
    best = points.loc["dust out, tuned"]
    assert best["is_real"] and best["verdict"] == "better" and 1 < best["percent"] < 8
    assert best["difference_low"] < best["difference"] < best["difference_high"]
    shares = frames.limiters("shoebox-3")
    assert shares.groupby(["configuration", "domain"])["share"].sum().between(0.99, 1.01).all()


def test_units(frames: JournalFrames) -> None:
    units = frames.units()
    assert units["unit"].tolist() == ["shoebox-3"] and units["runs"].tolist() == [len(frames.runs("shoebox-3"))]


def test_what_is_not_there(frames: JournalFrames, tmp_path: Path) -> None:
    for ask in (frames.runs, frames.scores, frames.readings, frames.traces, frames.comparison):
        with pytest.raises(BadInput, match="no unit"):
            ask("nobody")
    with pytest.raises(BadInput):
        frames.trace(10_000)
    with pytest.raises(JournalError):
        surefoot.open_journal(tmp_path / "nothing")


def test_an_empty_unit_gives_empty_frames_with_their_columns(tmp_path: Path) -> None:
    from surefoot.journal import Journal
    from surefoot.units import Unit

    with Journal.open(tmp_path) as journal:
        journal.add_unit(Unit(name="new"))
    with surefoot.open_journal(tmp_path) as frames:
        assert frames.runs("new").empty and list(frames.runs("new").columns) == list(RUN_COLUMNS)
        for frame in (frames.scores("new"), frames.readings("new"), frames.traces("new", ["cpu.power"])):
            assert isinstance(frame, pd.DataFrame) and frame.empty and "run" in frame.columns
