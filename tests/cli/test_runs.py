"""`surefoot runs` as a user and as another tool meet it."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from surefoot.cli.main import app
from surefoot.errors import SurefootError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Conditions, Knob, Setting, Unit

NAME = "shoebox-3"
UNIT = Unit(
    name=NAME,
    knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250), Knob("gpu-core", "gpu", "MHz", "up", 15, 300)),
)
AT = datetime(2031, 3, 4, 5, 6, 7, tzinfo=UTC)


def surefoot(*arguments: str) -> Result:
    return CliRunner().invoke(app, list(arguments))


def refused(*arguments: str) -> str:
    result = surefoot(*arguments)
    assert isinstance(result.exception, SurefootError) and result.exception.exit_code == 2, result.output
    assert result.stdout == ""
    return result.exception.message()


@pytest.fixture(autouse=True)
def filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    ids = []
    ends: list[tuple[dict[str, float], Outcome]] = [
        ({}, Outcome.HELD),
        ({"cpu-core": -50}, Outcome.HELD),
        ({"cpu-core": -95}, Outcome.DRIVER_RESET),
        ({"cpu-core": -60, "gpu-core": 120}, Outcome.MISCOMPUTE),
        ({"gpu-core": 45}, Outcome.VOID),
    ]
    with Journal.open() as journal:
        journal.add_unit(UNIT)
        journal.add_unit(Unit(name="empty"))
        for number, (values, outcome) in enumerate(ends):
            plan = RunPlan(
                unit_name=NAME,
                setting=Setting(values=values),
                load="cpu-transitions",
                planned_minutes=20,
                knob="cpu-core" if "cpu-core" in values else None,
                conditions=Conditions(ambient_celsius=21.5, power_mode='the "loud" one, always'),
                note="first line\nsecond line" if number == 1 else "",
            )
            closing = Closing(
                outcome=outcome,
                minutes=19.25,
                judged_by="self-check of the load found a wrong product on processor 3",
                detail={"processor": 3} if outcome is Outcome.MISCOMPUTE else {},
            )
            ids.append(journal.log_run(plan, closing, at=AT))
        journal.add_trace(ids[1], Trace(np.array([0.0, 1.0]), {"cpu.temperature": np.array([50.0, 51.0])}))
        ids.append(journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=5)))
        journal.heartbeat(ids[-1], 2.5)
    return ids


def test_the_table_fits_80_columns_and_never_speaks_by_colour_alone(filled: list[int]) -> None:
    result = surefoot("runs", NAME)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.stdout.splitlines())) <= 80
    for word in ("held", "driver-reset", "miscompute", "void", "open", "stock", "-95 mV", "+120 MHz", "19.2"):
        assert word in result.stdout
    assert "\x1b" not in result.stdout


def test_json_holds_every_run_and_nothing_else(filled: list[int]) -> None:
    told = json.loads(surefoot("runs", NAME, "--json").stdout)
    assert sorted(run["id"] for run in told) == sorted(filled)
    by_id = {run["id"]: run for run in told}
    second = by_id[filled[1]]
    assert second["setting"] == {"cpu-core": -50.0} and second["setting_words"] == "cpu-core -50 mV"
    assert (second["outcome"], second["minutes"], second["has_trace"]) == ("held", 19.25, True)
    assert second["conditions"]["ambient_celsius"] == 21.5 and second["note"] == "first line\nsecond line"
    assert datetime.fromisoformat(second["opened_at"]) == AT
    still = by_id[filled[-1]]
    assert (still["outcome"], still["closed_at"], still["minutes"], still["has_trace"]) == ("open", None, 2.5, False)


def test_csv_is_that_of_rfc_4180(filled: list[int]) -> None:
    """RFC 4180, section 2: CRLF line ends, a header, fields with commas, quotes or breaks quoted, quotes doubled."""
    result = surefoot("runs", NAME, "--csv")
    raw = result.stdout_bytes
    assert b'"the ""loud"" one, always"' in raw and b'"first line\nsecond line"' in raw
    assert raw.endswith(b"\r\n") and raw.count(b"\r\n") == len(filled) + 1
    rows = list(csv.DictReader(io.StringIO(raw.decode(), newline="")))
    assert [row["run"] for row in rows] == [
        str(run["id"]) for run in json.loads(surefoot("runs", NAME, "--json").stdout)
    ]
    row = next(row for row in rows if row["run"] == str(filled[3]))
    assert (row["cpu-core [mV]"], row["gpu-core [MHz]"], row["minutes [min]"]) == ("-60", "120", "19.25")
    assert (row["ambient [degC]"], row["power_mode"]) == ("21.5", 'the "loud" one, always')
    assert row["outcome"] == "miscompute" and next(r for r in rows if r["outcome"] == "open")["closed_at_utc"] == ""


def test_the_same_csv_comes_from_a_pipe_byte_for_byte(filled: list[int]) -> None:
    script = Path(sys.executable).with_name("surefoot")
    done = subprocess.run([script, "runs", NAME, "--csv"], check=True, capture_output=True)
    assert done.stdout == surefoot("runs", NAME, "--csv").stdout_bytes and done.stderr == b""


@pytest.mark.parametrize(
    ("options", "which"),
    [
        (["--outcome", "held"], [0, 1]),
        (["--outcome", "held", "--outcome", "void"], [0, 1, 4]),
        (["--outcome", "open"], [5]),
        (["--knob", "gpu-core"], [3, 4]),
        (["--knob", "cpu-core", "--last", "1"], [3]),
        (["--outcome", "corrected"], []),
    ],
)
def test_filters(filled: list[int], options: list[str], which: list[int]) -> None:
    told = json.loads(surefoot("runs", NAME, *options, "--json").stdout)
    assert sorted(run["id"] for run in told) == [filled[index] for index in which]
    assert surefoot("runs", NAME, *options).exit_code == 0


def test_one_run_in_full(filled: list[int]) -> None:
    result = surefoot("runs", NAME, "--run", str(filled[3]))
    for word in (
        "miscompute",
        "a self-check caught a wrong result",
        "processor",
        "21.5 °C",
        "of 20.0 planned",
        "without",
    ):
        assert word in result.stdout
    assert max(map(len, result.stdout.splitlines())) <= 80
    assert json.loads(surefoot("runs", NAME, "--run", str(filled[3]), "--json").stdout)["detail"] == {"processor": 3}
    assert surefoot("runs", NAME, "--run", str(filled[-1])).exit_code == 0


def test_bad_input_is_told_and_prints_nothing(filled: list[int]) -> None:
    assert "held, miscompute" in refused("runs", NAME, "--outcome", "fine")
    assert "cpu-core, gpu-core" in refused("runs", NAME, "--knob", "fan")
    assert "at least 1" in refused("runs", NAME, "--last", "0")
    assert "no run 999" in refused("runs", NAME, "--run", "999")
    assert "no run" in refused("runs", "empty", "--run", str(filled[0]))
    assert NAME in refused("runs", "nobody")
    assert "exclude" in refused("runs", NAME, "--csv", "--json")


def test_a_unit_without_runs() -> None:
    assert "no runs yet" in surefoot("runs", "empty").stdout
    assert json.loads(surefoot("runs", "empty", "--json").stdout) == []
    assert surefoot("runs", "empty", "--csv").stdout.count("\n") == 1


def corrected(*arguments: str) -> dict[str, Any]:
    result = surefoot("runs", *arguments, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_a_run_is_amended_and_both_what_it_says_and_what_it_said_are_shown(filled: list[int]) -> None:
    number = str(filled[1])
    found = corrected("amend", number, "--minutes", "5", "--set", "cpu-core=-45", "--why", "misread", "--who", "ada")
    assert (found["minutes"], found["setting"], found["outcome"]) == (5, {"cpu-core": -45}, "held")
    assert found["first_written"]["minutes"] == 19.25 and found["corrections"][0]["why"] == "misread"
    shown = surefoot("runs", NAME, "--run", number).stdout
    words = " ".join(shown.split())
    for text in ("by ada on", "misread", "as first written cpu-core -50 mV, held after 19.2 min"):
        assert text in words
    assert "(corrected)" in " ".join(surefoot("runs", NAME).stdout.split())
    assert "amend by ada: misread" in surefoot("runs", NAME, "--csv").stdout


def test_a_run_is_voided_with_a_reason(filled: list[int]) -> None:
    assert corrected("void", str(filled[2]), "--why", "another machine")["outcome"] == "void"
    assert surefoot("runs", "void", str(filled[1])).exit_code == 2, "--why is asked for"
    assert "void already" in refused("runs", "void", str(filled[2]), "--why", "again")
    assert "no run 999" in refused("runs", "void", "999", "--why", "x")
    assert "still open" in refused("runs", "void", str(filled[-1]), "--why", "x")
    assert "still open" in refused("runs", "amend", str(filled[-1]), "--why", "x", "--minutes", "5")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--set", "cpu-core=-300"], "past the card's limit"),
        (["--set", "cpu-core=+30"], "above stock"),
        (["--set", "ghost=1"], "cpu-core, gpu-core"),
        (["--minutes", "4000"], "hours"),
        (["--when", "2190-01-01"], "still to come"),
        (["--outcome", "banana"], "Write one of"),
        ([], "nothing to change"),
    ],
)
def test_an_amendment_can_be_a_slip_too(filled: list[int], options: list[str], words: str) -> None:
    assert words in refused("runs", "amend", str(filled[1]), "--why", "x", *options)
    with Journal.open() as journal:
        assert not journal.run(filled[1]).is_corrected


def test_a_run_is_told_in_words(filled: list[int]) -> None:
    shown = " ".join(surefoot("runs", NAME, "--run", str(filled[3])).stdout.split())
    for text in ("to find the edge of cpu-core", "under load 19.2 of 20.0 planned minutes", "held by Surefoot"):
        assert text in shown
    assert "{" not in shown and "'" not in shown


def test_runs_list_is_runs(filled: list[int]) -> None:
    assert surefoot("runs", "list", NAME).stdout == surefoot("runs", NAME).stdout
    assert surefoot("runs", "--outcome", "held", NAME).stdout == surefoot("runs", NAME, "--outcome", "held").stdout


def test_the_package_can_be_run(filled: list[int]) -> None:
    done = subprocess.run([sys.executable, "-m", "surefoot", "runs", NAME, "--json"], capture_output=True, check=True)
    assert len(json.loads(done.stdout)) == len(filled)


def test_many_runs_come_in_pages_for_people_and_whole_for_tools() -> None:
    with Journal.open() as journal:
        for _ in range(200):
            plan = RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1)
            journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=1, judged_by="x"), at=AT)
    newest, before = surefoot("runs", NAME).output, surefoot("runs", NAME, "--page", "3").output
    assert "Page 1 of 3" in newest and "--page 2" in newest and "\n206 " in newest and "\n106 " not in newest
    assert "Page 3 of 3" in before and "driver-reset" in before and "\n  7 " not in before
    assert len(json.loads(surefoot("runs", NAME, "--json").output)) == 206
    assert [run["id"] for run in json.loads(surefoot("runs", NAME, "--json", "--page", "2").output)] == list(
        range(7, 107)
    )
    assert "1 (the newest) to 3" in refused("runs", NAME, "--page", "4")
