"""`surefoot trace import` as a user meets it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from surefoot.cli import trace_import
from surefoot.cli.main import app
from surefoot.errors import AnswerIsNo, SurefootError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

NAME = "shoebox-3"
OTHER = "moor-desk"
LINES = [
    "Time,CPU Package [°C],CPU Clock [MHz],GPU Power [W],Mystery",
    *(f"2026-03-04T10:00:{row:02d}Z,{50 + row},{3600 - row},{80 + row},{row % 7}" for row in range(20)),
]
UNSURE = ["Zeit;Temperatur;Takt", *(f"{row},0;{50 + row},5;{3600 - row}" for row in range(20))]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    with Journal.open() as journal:
        journal.add_unit(Unit(name=NAME))
        journal.add_unit(Unit(name=OTHER))
    return tmp_path


def written(home: Path, lines: list[str], name: str = "bench.csv") -> str:
    path = home / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return str(path)


def surefoot(*arguments: str, keys: str | None = None) -> Result:
    return CliRunner().invoke(app, ["trace", "import", *arguments], input=keys)


def told(*arguments: str) -> dict[str, Any]:
    result = surefoot(*arguments, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def refused(*arguments: str) -> str:
    result = surefoot(*arguments)
    assert isinstance(result.exception, SurefootError) and result.exception.exit_code == 2, result.output
    assert result.stdout == ""
    return result.exception.message()


def runs(unit: str = NAME) -> int:
    with Journal.open() as journal:
        return len(journal.runs(unit))


def test_a_log_becomes_a_run_without_evidence(home: Path) -> None:
    found = told(written(home, LINES), "--unit", NAME)
    assert found["stored"] and found["samples"] == 20
    assert found["channels"] == ["cpu.clock", "cpu.temperature", "gpu.power"]
    with Journal.open() as journal:
        run = journal.run(found["run"])
        trace = journal.trace(run.id)
    assert run.outcome is Outcome.VOID
    assert run.plan.purpose == "log" and run.plan.source == "hand"
    assert run.opened_at == datetime(2026, 3, 4, 10, 0, tzinfo=UTC)
    assert run.minutes == pytest.approx(19 / 60, abs=1e-3)
    np.testing.assert_array_equal(trace.seconds, np.arange(20))
    np.testing.assert_array_equal(trace.channels["cpu.temperature"], 50.0 + np.arange(20))


def test_what_was_not_understood_is_said_with_line_and_column(home: Path) -> None:
    lines = [*LINES]
    lines[7] = lines[7].replace(",3594,", ",broken,")
    found = told(written(home, lines), "--unit", NAME)
    broken = {"line": 8, "column": "CPU Clock [MHz]", "text": "cell not understood: 'broken'", "count": 1}
    assert broken in found["problems"]
    assert any(problem["column"] == "Mystery" for problem in found["problems"])
    shown = surefoot(written(home, lines), "--unit", NAME).stdout
    assert "line 8, CPU Clock [MHz]" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_a_log_is_added_to_the_run_named(home: Path) -> None:
    plan = RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=8)
    with Journal.open() as journal:
        first = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=8, judged_by="the test"))
        other = journal.log_run(
            plan.model_copy(update={"unit_name": OTHER}), Closing(outcome=Outcome.HELD, minutes=8, judged_by="the test")
        )
    path = written(home, LINES)
    assert told(path, "--unit", NAME, "--run", str(first))["run"] == first
    assert told(path, "--unit", NAME, "--run", "last")["run"] == first
    assert runs() == 1
    with Journal.open() as journal:
        assert len(journal.trace(first)) == 20
        assert journal.run(first).outcome is Outcome.HELD
    assert "not of 'shoebox-3'" in refused(path, "--unit", NAME, "--run", str(other))
    assert "no run" in refused(path, "--unit", NAME, "--run", "first")


def test_a_dry_run_stores_nothing(home: Path) -> None:
    result = surefoot(written(home, LINES), "--unit", NAME, "--dry-run")
    assert result.exit_code == 0
    assert "cpu.temperature" in result.stdout and "nothing was stored" in result.stdout
    assert runs() == 0
    assert told(written(home, LINES), "--unit", NAME, "--dry-run")["run"] is None


def test_unsure_columns_need_a_word_where_there_is_no_terminal(home: Path) -> None:
    path = written(home, UNSURE)
    message = refused(path, "--unit", NAME)
    assert "Temperatur" in message and "--map" in message
    assert runs() == 0
    assert told(path, "--unit", NAME, "--yes")["channels"] == ["cpu.clock", "cpu.temperature"]


def test_a_correction_is_remembered_for_every_log_of_that_header(home: Path) -> None:
    path = written(home, UNSURE)
    first = told(path, "--unit", NAME, "--map", "Temperatur=gpu.temperature", "--map", "#3=gpu.clock")
    assert first["channels"] == ["gpu.clock", "gpu.temperature"]
    again = told(written(home, UNSURE[:10], "another.csv"), "--unit", OTHER)
    assert again["channels"] == ["gpu.clock", "gpu.temperature"]
    assert again["columns"][1]["how"] == "as you said"
    changed = told(path, "--unit", NAME, "--map", "Takt=ignore")
    assert changed["channels"] == ["gpu.temperature"]


def test_a_correction_that_makes_no_sense_is_refused(home: Path) -> None:
    path = written(home, LINES)
    assert "no column 'Nothing'" in refused(path, "--unit", NAME, "--map", "Nothing=cpu.clock")
    assert "not a channel" in refused(path, "--unit", NAME, "--map", "Mystery=cpu.wisdom")
    assert "both mapped" in refused(path, "--unit", NAME, "--map", "Mystery=cpu.clock", "--map", "#3=cpu.clock")
    no_time = written(home, ["a,b", "x,1", "y,2"])
    assert "cannot be read as a time" in refused(no_time, "--unit", NAME, "--map", "a=time")
    assert runs() == 0


def test_without_a_time_column_the_interval_is_asked_for(home: Path) -> None:
    path = written(home, ["CPU Package [°C]", *(str(50 + row) for row in range(10))])
    assert "no column tells the time" in refused(path, "--unit", NAME)
    assert told(path, "--unit", NAME, "--interval", "2")["minutes"] == pytest.approx(0.3)
    assert "above 0" in refused(path, "--unit", NAME, "--interval", "0")


@pytest.mark.parametrize(
    "data", [b"", b"\x00\x01\x02\x03" * 50, b"PK\x03\x04 and so on", b"just words\nand more words\n", b"\n\n\n"]
)
def test_a_bad_file_changes_nothing(home: Path, data: bytes) -> None:
    path = home / "bad.csv"
    path.write_bytes(data)
    assert str(path) in refused(str(path), "--unit", NAME)
    assert "cannot be read" in refused(str(home / "missing.csv"), "--unit", NAME)
    assert "cannot be read" in refused(str(home), "--unit", NAME)
    assert "no unit" in refused(str(path), "--unit", "nobody")
    assert runs() == 0


def test_a_bad_file_ends_the_program_with_one_line_and_code_2(home: Path) -> None:
    path = home / "bad.csv"
    path.write_bytes(b"nothing\n")
    done = subprocess.run(
        [sys.executable, "-c", "from surefoot.cli.main import run; run()",
         "trace", "import", str(path), "--unit", NAME],
        capture_output=True, text=True, check=False, env={**os.environ, "SUREFOOT_HOME": str(home / "home")},
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.startswith("surefoot: ") and len(done.stderr.strip().splitlines()) == 1


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Answers that a person at a terminal gives, one after the other."""
    answers: list[str] = []
    monkeypatch.setattr(sys, "stdin", type("Terminal", (), {"isatty": lambda self: True})())
    monkeypatch.setattr(trace_import, "_asked", lambda out: answers.pop(0))
    return answers


def test_at_a_terminal_the_columns_are_shown_and_corrected(home: Path, terminal: list[str]) -> None:
    terminal += ["nonsense", "#3=gpu.clock", "Temperatur=gpu.temperature", ""]
    trace_import.import_log(Path(written(home, UNSURE)), NAME, load="unknown")
    with Journal.open() as journal:
        run = journal.runs(NAME)[-1]
        assert sorted(journal.trace(run.id).channels) == ["gpu.clock", "gpu.temperature"]


def test_at_a_terminal_a_person_may_stop(home: Path, terminal: list[str]) -> None:
    terminal += ["q"]
    with pytest.raises(AnswerIsNo):
        trace_import.import_log(Path(written(home, LINES)), NAME, load="unknown")
    assert runs() == 0


def test_the_setting_and_the_room_are_told_with_the_import(home: Path) -> None:
    with Journal.open() as journal:
        journal.add_unit(Unit(name="tuned", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),)))
    path = written(home, LINES)
    found = told(path, "--unit", "tuned", "--set", "cpu-core=-40", "--ambient", "21.5")
    with Journal.open() as journal:
        run = journal.run(found["run"])
    assert run.setting.value("cpu-core") == -40 and run.plan.conditions.ambient_celsius == 21.5
    assert run.outcome is Outcome.VOID
    assert "past the card's limit" in refused(path, "--unit", "tuned", "--set", "cpu-core=-400")
    assert "above stock" in refused(path, "--unit", "tuned", "--set", "cpu-core=+40")
    assert "runs amend" in refused(path, "--unit", "tuned", "--run", "last", "--ambient", "20")


def test_what_is_not_sure_of_the_whole_file_is_refused_with_the_line(home: Path) -> None:
    short = [",".join(line.split(",")[:4]) if place else line for place, line in enumerate(LINES)]
    message = refused(written(home, short), "--unit", NAME)
    assert "line 2" in message and "5 names" in message
    elapsed = ["Time,CPU Package [°C]", *(f"{row},{50 + row}" for row in range(20))]
    assert "minutes" in refused(written(home, elapsed), "--unit", NAME)
    assert runs() == 0
    found = told(written(home, elapsed), "--unit", NAME, "--map", "#1=time[min]")
    assert found["minutes"] == pytest.approx(19) and not found["questions"]


def held_with(path: str) -> int:
    plan = RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=8)
    with Journal.open() as journal:
        number = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=8, judged_by="the test"))
    told(path, "--unit", NAME, "--run", str(number))
    return number


def test_samples_that_a_run_has_are_not_replaced_unasked(home: Path) -> None:
    number = held_with(written(home, LINES))
    other = [line.replace(",5", ",6") if place in (4, 5) else line for place, line in enumerate(LINES)]
    path = written(home, other, "other.csv")
    message = refused(path, "--unit", NAME, "--run", str(number))
    assert "cpu.temperature would change at 2 samples, by up to 10 °C" in message and "--replace" in message
    with Journal.open() as journal:
        assert journal.trace(number).channels["cpu.temperature"].max() == 69
        assert journal.trace(number).channels["cpu.temperature"][3] == 53
    told(path, "--unit", NAME, "--run", str(number), "--replace")
    with Journal.open() as journal:
        assert journal.trace(number).channels["cpu.temperature"][3] == 63


def test_other_times_and_other_channels_are_added(home: Path) -> None:
    number = held_with(written(home, LINES))
    later = [line.replace("10:00:", "10:01:") for line in LINES]
    assert told(written(home, later, "later.csv"), "--unit", NAME, "--run", str(number))["stored"]
    fans = ["Time,CPU Fan [rpm]", *(f"2026-03-04T10:00:{row:02d}Z,{900 + row}" for row in range(20))]
    assert told(written(home, fans, "fans.csv"), "--unit", NAME, "--run", str(number))["stored"]
    with Journal.open() as journal:
        trace = journal.trace(number)
    assert len(trace) == 40 and "cpu.fan" in trace.channels


def test_between_the_samples_of_a_channel_is_an_overlap_too(home: Path) -> None:
    number = held_with(written(home, LINES))
    between = [line.replace("Z,", ".500Z,") for line in LINES]
    assert "from 0.5 to 19 s" in refused(written(home, between, "between.csv"), "--unit", NAME, "--run", str(number))


def test_the_same_log_twice_is_noticed(home: Path) -> None:
    path = written(home, LINES)
    number = held_with(path)
    again = told(path, "--unit", NAME, "--run", str(number))
    assert not again["stored"] and again["run"] == number
    assert "holds all of this log already" in surefoot(path, "--unit", NAME, "--run", str(number)).stdout
    first = told(path, "--unit", OTHER)["run"]
    twin = told(path, "--unit", OTHER)
    assert twin["run"] == first and not twin["stored"]
    assert runs(OTHER) == 1
    told(path, "--unit", OTHER, "--sure")
    assert runs(OTHER) == 2
