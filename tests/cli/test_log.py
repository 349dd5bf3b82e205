"""`surefoot log` as a user meets it: what is understood is logged, what looks like a slip is asked or refused."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from surefoot.cli.main import app
from surefoot.errors import AnswerIsNo, SurefootError
from surefoot.journal import Journal
from surefoot.runs import Outcome, Run
from surefoot.units import Knob, Unit

NAME = "workshop-3"
UNIT = Unit(
    name=NAME,
    firmware="1.20",
    cooling="tower, new paste",
    knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250), Knob("gpu-core", "gpu", "MHz", "up", 15, 300)),
)


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("TZ", "UTC")
    with Journal.open() as journal:
        journal.add_unit(UNIT, at=datetime.now(UTC) - timedelta(days=3))
    return tmp_path


def log(*arguments: str, keys: str | None = None) -> Result:
    return CliRunner().invoke(app, ["log", NAME, *arguments], input=keys)


def one(value: str, outcome: str = "held", minutes: str = "30", *more: str, keys: str | None = None) -> Result:
    return log("--set", f"cpu-core={value}", "--outcome", outcome, "--minutes", minutes, *more, keys=keys)


def message(result: Result, code: int = 2) -> str:
    assert isinstance(result.exception, SurefootError), result.output
    assert result.exception.exit_code == code and "Traceback" not in result.output
    return result.exception.message()


def runs() -> list[Run]:
    with Journal.open() as journal:
        return journal.runs(NAME)


def table(home: Path, text: str) -> str:
    path = home / "table.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture
def somebody(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("surefoot.cli.log.attended", lambda: True)


def test_the_slip_that_certified_the_limit_is_refused_unattended() -> None:
    for _ in range(3):
        assert one("-60", "reset", "3", "--sure").exit_code == 0
    said = message(one("-300", "held", "5"))
    assert (
        "past the card's limit of -250 mV" in said and "held deeper than cpu-core -60 mV" in said and "--sure" in said
    )
    assert [run.outcome for run in runs()] == [Outcome.RESET] * 3


def test_a_slip_is_asked_where_there_is_somebody(somebody: None) -> None:
    assert isinstance(one("-120", keys="n\n").exception, AnswerIsNo) and runs() == []
    result = one("-120", keys="y\n")
    assert result.exit_code == 0 and "far past what ever held (stock)" in result.stderr
    assert [run.setting.value("cpu-core") for run in runs()] == [-120]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--set", "cpu-core=+30", "--outcome", "held", "--minutes", "30"), "Write -30 if that is meant"),
        (("--set", "cpu-core=-30", "--outcome", "did not fail, I think", "--minutes", "30"), "think"),
        (("--set", "cpu-core=-30", "--outcome", "held", "--minutes", "0:30"), "either 30 min"),
        (("--set", "cpu-core=-30", "--outcome", "held", "--minutes", "5000"), "83 hours"),
        (("--set", "cpu-core=-30", "--outcome", "held", "--minutes", "1,000"), "either 1000 or 1"),
        (("--set", "cpu-core=-0.03", "--outcome", "held", "--minutes", "30"), "less than half a step of 5 mV"),
        (("--set", "gpu-core=0.12", "--outcome", "held", "--minutes", "30"), "less than half a step of 15 MHz"),
        (("--set", "cpu-core=-30", "--outcome", "held", "--minutes", "5", "--when", "2190-01-01"), "still to come"),
        (("--set", "cpu-core=-30", "--outcome", "held", "--minutes", "5", "--when", "3/4/2026"), "month first"),
    ],
)
def test_what_is_not_sure_is_refused_unattended(arguments: tuple[str, ...], words: str) -> None:
    assert words in message(log(*arguments)) and runs() == []


def test_the_same_run_logged_twice_is_noticed() -> None:
    assert one("-30").exit_code == 0
    assert "the same as run 1" in message(one("-30"))
    assert one("-30", "held", "45").exit_code == 0
    assert len(runs()) == 2


def test_a_run_of_last_march_does_not_carry_the_firmware_of_today() -> None:
    assert one("-30").exit_code == 0
    assert one("-35", "held", "2h", "--when", "4 Mar 2021", "--ambient", "21").exit_code == 0
    with Journal.open() as journal:
        old, new = (run.plan.conditions for run in journal.runs(NAME))
    assert (new.firmware, new.cooling) == ("1.20", "tower, new paste")
    assert (old.firmware, old.cooling, old.ambient_celsius) == (None, None, 21)
    assert runs()[0].opened_at.date().isoformat() == "2021-03-04" and runs()[0].minutes == 120


def told(*arguments: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(log(*arguments, "--json").stdout)
    return found


GOOD = "date,core mV,minutes,result\n4 Mar 2026,-20,30,pass\n4 Mar 2026,-40,2h,ok\n5 Mar 2026,-50,10,did not pass\n"


def test_a_table_that_is_clear_is_logged_unattended(home: Path) -> None:
    result = log("--from", table(home, GOOD))
    assert result.exit_code == 0, result.output
    assert [(run.outcome, run.minutes) for run in runs()] == [
        *((Outcome.HELD, 30), (Outcome.HELD, 120), (Outcome.RESET, 10))
    ]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("6 Mar 2026,-400,30,pass", "line 5: cpu-core -400 mV is past the card's limit"),
        ("6 Mar 2026,-200,30,pass", "line 5: cpu-core -200 mV is far past what ever held (-40 mV)"),
        ("6 Mar 2026,-55,30,pass", "line 5: it held deeper than cpu-core -50 mV, which failed (line 4, reset)"),
        ("4 Mar 2026,-20,30,pass", "line 5: it is the same as line 2"),
        ("6 Mar 2026,-45,0:30,pass", "line 5: '0:30' is either"),
        ("6 Mar 2026,-45,30,mostly stable", "line 5: the outcome 'mostly stable' is taken as held, but"),
        ("6 Mar 2026,+45,30,pass", "line 5: +45 mV is above stock"),
        ("6 Mar 2190,-45,30,pass", "line 5: its date, 2190-03-06 00:00, is still to come"),
        ("6 Mar 2026,-45,30,banana", "line 5: the outcome 'banana' is not understood"),
    ],
)
def test_a_row_that_is_not_sure_is_refused_and_left_out_with_yes(home: Path, row: str, words: str) -> None:
    path = table(home, GOOD + row + "\n")
    assert words in message(log("--from", path)) and runs() == []
    result = log("--from", path, "--yes")
    assert result.exit_code == 0 and len(runs()) == 3
    said = " ".join(result.stdout.split())
    assert f"not logged: {words}" in said and "core mV cpu-core" in said and "did not pass reset" in said


def test_yes_exits_1_when_no_row_was_logged(home: Path) -> None:
    path = table(home, GOOD)
    assert log("--from", path).exit_code == 0
    assert "no run was logged" in message(log("--from", path, "--yes"), 1)
    assert len(runs()) == 3, "the same table twice adds nothing"


def test_sure_takes_what_looks_like_a_slip(home: Path) -> None:
    path = table(home, GOOD + "6 Mar 2026,-120,30,pass\n")
    assert len(told("--from", path, "--sure")["logged"]) == 4


def test_json_tells_what_was_taken_and_what_was_left_out(home: Path) -> None:
    found = told("--from", table(home, GOOD + "6 Mar 2026,-120,30,pass\n7 Mar 2026,-10,30,?\n"), "--yes")
    assert found["columns"] == {"date": "when", "core mV": "cpu-core", "minutes": "minutes", "result": "outcome"}
    assert found["outcomes"]["did not pass"] == "reset" and len(found["logged"]) == 3
    assert found["left_out"][0].startswith("line 5") and found["problems"][0].startswith("line 6")


def test_a_column_that_is_not_sure_is_refused_and_can_be_named(home: Path) -> None:
    path = table(home, "core mV,length,result\n-20,30,pass\n")
    assert "names no unit" in message(log("--from", path))
    assert told("--from", path, "--map", "length=minutes")["doubts"] == []


def test_attended_the_confirmation_shows_columns_words_and_doubts(home: Path, somebody: None) -> None:
    path = table(home, GOOD + "6 Mar 2026,-120,30,pass\n")
    result = log("--from", path, keys="n\ny\n")
    assert result.exit_code == 0 and len(runs()) == 3
    for words in ("core mV", "cpu-core", "did not pass", "? line 5: cpu-core -120 mV", "3 runs understood, 1 not sure"):
        assert words in result.stderr
    assert isinstance(log("--from", path, keys="n\nn\n").exception, AnswerIsNo)


def test_resets_typed_one_by_one_are_as_many_and_a_far_hold_after_them_is_asked_about() -> None:
    for _ in range(3):
        assert one("-60", "reset", "3").exit_code == 0
    assert len(runs()) == 3
    assert "slip" in message(one("-250", "held", "5"))
    assert len(runs()) == 3


def test_a_pass_typed_twice_is_asked_about() -> None:
    assert one("-40").exit_code == 0
    assert "told twice" in message(one("-40"))


def test_a_failure_far_past_what_held_is_asked_about() -> None:
    assert one("-40").exit_code == 0
    assert "far past" in message(one("-200", "reset", "1"))
