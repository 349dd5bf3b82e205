"""`surefoot score` and `surefoot reading` as a user meets them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from score_terminal import Terminal

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Knob, Setting, Unit


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Terminal:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    with Journal.open() as journal:
        journal.add_unit(Unit(name="bench-a", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),)))
        for outcome in (Outcome.HELD, Outcome.RESET):
            plan = RunPlan(unit_name="bench-a", setting=Setting(), load="mixed", planned_minutes=10, purpose="measure")
            journal.log_run(plan, Closing(outcome=outcome, minutes=10, judged_by="by hand"))
    return Terminal(monkeypatch, capsys)


def entries(what: str) -> list:
    with Journal.open() as journal:
        return list(getattr(journal, what)("bench-a"))


def test_a_score_of_a_run(terminal: Terminal) -> None:
    assert terminal("score", "bench-a", "render", "4210", "--run", "1") == 0
    assert "render: 4210 points" in terminal.out
    assert (entries("scores")[0].run_id, entries("scores")[0].score.value) == (1, 4210)


def test_a_score_of_a_configuration_by_number_and_json(terminal: Terminal) -> None:
    got = terminal.json("score", "bench-a", "build", "93.4", "--unit", "s", "--lower-is-better", "--config", "1")
    assert got["scores"][0][1]["higher_is_better"] is False
    assert entries("scores")[0].configuration == "mode=;cooling=;setting=;load=mixed;firmware="


def test_it_must_be_said_what_a_score_belongs_to(terminal: Terminal) -> None:
    for extra in ((), ("--run", "1", "--config", "1")):
        assert terminal("score", "bench-a", "render", "4210", *extra) == 2
        assert "--run ID" in terminal.err
    assert entries("scores") == []


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("score", "bench-a", "render", "nan", "--run", "1"), "finite"),
        (("score", "bench-a", "render", "4210", "--config", "turbo"), "no configuration 'turbo'"),
        (("score", "bench-a", "--run", "1"), "NAME and a VALUE"),
        (("score", "bench-a", "render", "--run", "1"), "NAME and a VALUE"),
        (("score", "bench-a", "render", "2", "--run", "1", "--frames", "x.csv"), "not both"),
        (("score", "bench-a", "--run", "1", "--frames", "no-such-file.csv"), "no-such-file.csv"),
        (("score", "nobody", "render", "4210", "--run", "1"), "nobody"),
        (("reading", "bench-a", "noise", "40", "--run", "1"), "sound"),
        (("reading", "bench-a", "sound", "400", "--run", "1"), "400"),
        (("reading", "bench-a", "surface", "40", "--background", "30", "--run", "1"), "sound reading only"),
        (("reading", "bench-a", "battery", "120", "--run", "1"), "From 0 to 100"),
        (("reading", "bench-a", "wall-power", "inf", "--run", "1"), "finite"),
    ],
)
def test_bad_input_ends_with_two_and_a_clear_word(terminal: Terminal, arguments: tuple[str, ...], says: str) -> None:
    assert terminal(*arguments) == 2
    assert says in " ".join(terminal.err.split())
    assert "Traceback" not in terminal.err
    assert entries("scores") == [] and entries("readings") == []


def test_a_run_that_is_not_there(terminal: Terminal) -> None:
    assert terminal("score", "bench-a", "render", "4210", "--run", "99") in (2, 3)
    assert "99" in terminal.err


def test_a_slip_of_the_keyboard_is_asked_about(terminal: Terminal) -> None:
    assert terminal("score", "bench-a", "render", "4210", "--run", "1") == 0
    assert terminal("score", "bench-a", "render", "28000", "--run", "1") == 2
    assert "slip" in terminal.err
    assert terminal("score", "bench-a", "render", "28000", "--run", "1", "--sure") == 0
    assert terminal("score", "bench-a", "render", "4210", "--run", "1", "--unit", "fps") == 2
    assert terminal("score", "bench-a", "render", "4210", "--run", "1", "--lower-is-better") == 2


def test_a_score_of_a_run_that_crashed_is_kept_with_a_caution(terminal: Terminal) -> None:
    assert terminal("score", "bench-a", "render", "4210", "--run", "2") == 0
    assert "not compared" in terminal.out


def frame_log(tmp_path: Path, text: str) -> str:
    path = tmp_path / "frames.csv"
    path.write_text(text)
    return str(path)


def test_a_frame_log_gives_frame_rates_by_both_definitions(terminal: Terminal, tmp_path: Path) -> None:
    frames = [10.0] * 1980 + [20.0] * 20
    np.random.default_rng(0).shuffle(frames)
    at = np.cumsum(frames) / 1000
    lines = [f"{second:.4f},{ms:.3f}" for second, ms in zip(at, frames, strict=True)]
    path = frame_log(tmp_path, "time (s),frame time (ms)\n" + "\n".join(lines) + "\n")
    got = terminal.json("score", "bench-a", "harbour", "--frames", path, "--run", "1")
    assert got["frames"]["average_fps"] == pytest.approx(2000 / sum(frames) * 1000, rel=1e-6)
    names = [entry.score.name for entry in entries("scores")]
    assert names[0] == "harbour: fps"
    assert {"harbour: 1 % low (percentile)", "harbour: 1 % low (slowest mean)"} <= set(names)
    low = next(e.score.value for e in entries("scores") if e.score.name == "harbour: 1 % low (slowest mean)")
    assert low == pytest.approx(50.0)
    with Journal.open() as journal:
        assert len(journal.trace(1)) == 2000
    assert terminal("score", "bench-a", "harbour", "--frames", path, "--run", "1") == 0
    assert "What the figures are" in terminal.out
    assert max(map(len, terminal.out.splitlines())) <= 80


def test_a_run_keeps_its_own_trace_beside_a_frame_log(terminal: Terminal, tmp_path: Path) -> None:
    with Journal.open() as journal:
        journal.add_trace(1, Trace(np.arange(60.0), {"cpu.temperature": np.full(60, 61.0)}))
    path = frame_log(tmp_path, "frame time (ms)\n" + "\n".join(["10.0", "12.5"] * 800) + "\n")
    assert terminal("score", "bench-a", "--frames", path, "--run", "1") == 0
    with Journal.open() as journal:
        trace = journal.trace(1)
    assert tuple(trace.channels) == ("cpu.temperature",) and len(trace) == 60
    assert "kept as the trace" not in terminal.out


@pytest.mark.parametrize("ending", ["\n", "\n1", "\n12.", "\n0\n-3\nnan\n"])
def test_a_bare_list_of_milliseconds_cut_off_or_dirty(terminal: Terminal, tmp_path: Path, ending: str) -> None:
    for head in ("frame time (ms)\n", ""):
        text = head + "\n".join(f"{10 + (i % 7) / 10:.2f}" for i in range(1500)) + ending
        got = terminal.json("score", "bench-a", "--frames", frame_log(tmp_path, text), "--config", "1", "--sure")
        assert got["frames"]["average_fps"] == pytest.approx(1000 / 10.3, rel=0.01)


def test_a_log_without_frames_and_one_of_samples_are_refused(terminal: Terminal, tmp_path: Path) -> None:
    log = "time (s),CPU temperature (°C)\n" + "\n".join(f"{i},{60 + i % 5}" for i in range(100))
    assert terminal("score", "bench-a", "--frames", frame_log(tmp_path, log), "--run", "1") == 2
    assert "frame times" in terminal.err
    sampled = "time (s),frame time (ms)\n" + "\n".join(f"{i},{10 + i % 3}" for i in range(200))
    assert terminal("score", "bench-a", "--frames", frame_log(tmp_path, sampled), "--run", "1") == 2
    assert "every frame" in terminal.err
    assert terminal("score", "bench-a", "--frames", frame_log(tmp_path, ""), "--run", "1") == 2
    assert entries("scores") == []


def test_readings_are_corrected_and_judged_on_entry(terminal: Terminal) -> None:
    assert terminal("reading", "bench-a", "sound", "49", "--background", "35", "--place", "ear", "--run", "1") == 0
    assert "48.8 dB(A)" in terminal.out
    assert terminal("reading", "bench-a", "sound", "38", "--background", "35", "--place", "ear", "--run", "1") == 0
    assert "upper bound" in terminal.out
    assert terminal("reading", "bench-a", "surface", "52", "--place", "keyboard", "--run", "1") == 0
    shown = " ".join(terminal.out.split())
    assert "past the threshold for 1 minute" in shown
    assert "no medical judgement" in shown
    assert terminal("reading", "bench-a", "wall-power", "12.5", "--idle", "--run", "1") == 0
    kept = entries("readings")
    assert [entry.reading.kind for entry in kept] == ["sound", "sound", "surface", "wall-power"]
    assert [entry.reading.state for entry in kept] == ["load", "load", "load", "idle"]


def test_a_reading_without_a_place_says_what_that_means(terminal: Terminal) -> None:
    got = terminal.json("reading", "bench-a", "sound", "45", "--run", "1")
    assert any("place" in note for note in got["notes"])
    assert got["sound"]["note"].startswith("not corrected")


def test_a_value_four_times_the_others_is_taken_for_a_slip_and_three_times_is_not(terminal: Terminal) -> None:
    for value in ("4200", "4210", "4220"):
        assert terminal("score", "bench-a", "render", value, "--run", "1") == 0
    for value in ("16800", "1050"):
        assert terminal("score", "bench-a", "render", value, "--run", "1") == 2 and "a slip?" in terminal.err
    assert terminal("score", "bench-a", "render", "12600", "--run", "1") == 0
    assert terminal("score", "bench-a", "render", "16800", "--run", "1", "--sure") == 0


def test_a_search_run_that_held_takes_a_score_without_a_caution(terminal: Terminal) -> None:
    with Journal.open() as journal:
        plan = RunPlan(unit_name="bench-a", setting=Setting(), load="mixed", planned_minutes=9, purpose="search")
        held = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=9, judged_by="test"))
    assert terminal("score", "bench-a", "render", "4210", "--run", str(held)) == 0
    assert "is not compared" not in terminal.out
