"""The picture of frame times against the logs that it was made from."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from surefoot.guide.attach import target_of, write_frames
from surefoot.journal import Journal
from surefoot.report.gather import comparison_of, gather
from surefoot.report.material import Material, collect
from surefoot.report.picture import PAGE, Picture
from surefoot.report.sections import build
from surefoot.report.view import PageView
from surefoot.runs import Closing, Outcome, RunPlan, Score, Trace
from surefoot.scores.frame_curves import PERCENTILES, curve_point
from surefoot.units import Knob, Setting, Unit


def log_of(seed: int, faster: float) -> np.ndarray:
    """Frame times of a minute or so, ms, to the thousandth, as they stand in a log."""
    return np.asarray((np.random.default_rng(seed).gamma(30, 0.3, 4000) / faster).round(3))


def as_bytes(frames: np.ndarray) -> bytes:
    return ("frame time (ms)\n" + "\n".join(f"{one:.3f}" for one in frames) + "\n").encode()


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[int, np.ndarray]]:
    """A journal with three runs at stock and four deeper, each with a frame log; some have a sensor trace already."""
    home = tmp_path_factory.mktemp("frames")
    made = {}
    with Journal.open(home) as journal:
        journal.add_unit(Unit(name="bench-a", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),)))
        for number in range(8):
            deep = number >= 3
            plan = RunPlan(
                unit_name="bench-a",
                setting=Setting(values={"cpu-core": -50.0 if deep else 0.0}),
                load="mixed",
                planned_minutes=15,
                purpose="measure",
            )
            # The last one crashed: it is kept, and not drawn.
            outcome = Outcome.RESET if number == 7 else Outcome.HELD
            run = journal.log_run(plan, Closing(outcome=outcome, minutes=15, judged_by="the load"))
            if number % 2:
                journal.add_trace(run, Trace(np.arange(900.0), {"cpu.temperature": np.full(900, 70.0)}))
            frames = log_of(number, 1.1 if deep else 1.0)
            write_frames(journal, "bench-a", target_of(journal, "bench-a", run, None), as_bytes(frames), name="harbour")
            if number < 7:
                made[run] = frames
    return home, made


@pytest.fixture(scope="module")
def drawn(logs: tuple[Path, dict[int, np.ndarray]]) -> Picture:
    """The picture of the scene."""
    with Journal.open(logs[0], read_only=True) as journal:
        pictures = build(collect(journal, "bench-a")).pictures()
    (found,) = [one for one in pictures if one.key == "frame-times-harbour"]
    return found


def test_the_lines_are_the_percentiles_of_the_logs(drawn: Picture, logs: tuple[Path, dict[int, np.ndarray]]) -> None:
    frame = drawn.data
    assert frame is not None and list(dict.fromkeys(frame["percent"])) == list(PERCENTILES)
    runs = list(logs[1])
    for name, mine in zip(dict.fromkeys(frame["configuration"]), (runs[:3], runs[3:]), strict=True):
        table = np.array([np.percentile(logs[1][run], PERCENTILES) for run in mine])
        rows = frame[frame["configuration"] == name]
        assert set(rows["runs"]) == {len(mine)}
        assert rows["middle"].to_numpy() == pytest.approx(np.median(table, axis=0))
        assert rows["low"].to_numpy() == pytest.approx(table.min(axis=0))
        assert rows["high"].to_numpy() == pytest.approx(table.max(axis=0))


def test_single_runs_are_lines_where_there_are_three(drawn: Picture, logs: tuple[Path, dict[int, np.ndarray]]) -> None:
    data = drawn.spec(PAGE)["datasets"].values()
    (own,) = [rows for rows in data if "milliseconds" in rows[0]]
    runs = list(logs[1])
    assert {row["run"] for row in own} == {f"run {run}" for run in runs[:3]}
    for row in own:
        expected = np.percentile(logs[1][int(row["run"].removeprefix("run "))], row["percent"])
        assert row["milliseconds"] == pytest.approx(expected, rel=1e-4)


def test_every_percentile_has_its_place_and_every_line_its_legend(drawn: Picture) -> None:
    data = list(drawn.spec(PAGE)["datasets"].values())
    places = {row["percent"]: row["place"] for row in data[0]}
    # Quantiles of the standard normal distribution (NIST/SEMATECH e-Handbook; 1.3.6.7.1, the section from memory):
    # 90 % 1.282, 99 % 2.326.
    assert (places[50.0], places[90.0], places[99.0]) == pytest.approx((0, 1.282, 2.326), abs=6e-4)
    assert places[1.0] == -places[99.0]
    assert [item.label for item in drawn.legend] == list(dict.fromkeys(drawn.table["configuration"]))
    assert drawn.title.startswith("Harbour: 99 % of the frames took at most ")


def test_points_of_curves_are_no_metrics(logs: tuple[Path, dict[int, np.ndarray]]) -> None:
    with Journal.open(logs[0], read_only=True) as journal:
        found = gather(journal, "bench-a")
        assert sum(curve_point(entry.score) is not None for entry in journal.scores("bench-a")) == 8 * len(PERCENTILES)
    assert not any("frame time" in row.metric.label for row in comparison_of(found).rows)
    # One word for the log of the run that crashed, from each of its figures; none from the curve.
    assert not any("frame time, " in problem for problem in found.problems)
    assert {one.run_id for one in found.curves} == set(logs[1])


@pytest.mark.parametrize("scene", ["", "harbour"])
def test_a_log_that_is_a_runs_trace_alone_is_drawn_too(tmp_path: Path, scene: str) -> None:
    frames = log_of(5, 1.0)
    with Journal.open(tmp_path / "journal.db") as journal:
        journal.add_unit(Unit(name="bench-a", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),)))
        plan = RunPlan(unit_name="bench-a", setting=Setting(), load="mixed", planned_minutes=1, purpose="measure")
        run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=1, judged_by="the load"))
        journal.add_trace(run, Trace(np.cumsum(frames) / 1000, {"frame.frame-time": frames}))
        if scene:
            # As logs were kept before their curves were: the frame rates tell the scene.
            journal.add_score("bench-a", Score(name=f"{scene}: fps", value=111.0, unit="fps"), run_id=run)
        (curve,) = gather(journal, "bench-a").curves
    assert (curve.run_id, curve.scene) == (run, scene)
    assert list(curve.milliseconds.values()) == pytest.approx(np.percentile(frames, PERCENTILES), abs=1e-3)


def test_the_demo_draws_its_scene_and_agrees_with_its_own_lows(view: PageView, material: Material) -> None:
    (picture,) = [one for one in view.pictures() if one.key.startswith("frame-times")]
    assert picture.title.startswith("Clock tower: 99 % of the frames")
    assert material.comparison is not None
    row = material.comparison.row("clock tower, 1 % low")
    assert row is not None
    for cell in row.cells:
        mine = {one.run_id: one.milliseconds for one in material.curves if one.configuration == cell.configuration}
        assert len(mine) == cell.runs
        for run_id, low in zip(cell.run_ids, cell.values, strict=True):
            assert round(1000 / mine[run_id][99.0], 1) == low
