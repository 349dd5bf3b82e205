"""A correction can be a slip too: the wrong run voided, a failure amended away. What deepens a claim is asked about."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from surefoot.cli import common
from surefoot.cli.main import app
from surefoot.errors import SurefootError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

NAME = "shoebox-3"
AT = datetime(2031, 3, 4, 5, 6, 7, tzinfo=UTC)
RUNS = [(0, 5), (-20, 5), (-40, 5), (-60, 5), (-60, 5)]
FAILED, DEEPER = 6, 7


@pytest.fixture(autouse=True)
def filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    with Journal.open() as journal:
        journal.add_unit(Unit(name=NAME, knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),)))
        ends = [(value, minutes, Outcome.HELD) for value, minutes in RUNS]
        for number, (value, minutes, outcome) in enumerate([*ends, (-50, 1, Outcome.RESET), (-80, 1, Outcome.RESET)]):
            plan = RunPlan(unit_name=NAME, setting=Setting(values={"cpu-core": value}), load="cpu", planned_minutes=5)
            closing = Closing(outcome=outcome, minutes=minutes, judged_by="seen")
            journal.log_run(plan, closing, at=AT + timedelta(hours=number))


def surefoot(*arguments: str, keys: str | None = None) -> Result:
    return CliRunner().invoke(app, list(arguments), input=keys)


def outcome(number: int) -> Outcome | None:
    with Journal.open(read_only=True) as journal:
        return journal.run(number).outcome


@pytest.mark.parametrize(
    "options", [("void",), ("amend", "--outcome", "void"), ("amend", "--outcome", "overheat"), ("amend", "--set", "0")]
)
def test_a_failure_that_holds_a_claim_back_is_not_lost_unasked(options: tuple[str, ...]) -> None:
    verb, *rest = options
    rest = ["cpu-core=-240" if text == "0" else text for text in rest]
    result = surefoot("runs", verb, str(FAILED), "--why", "typo", *rest)
    assert isinstance(result.exception, SurefootError) and result.exception.exit_code == 2, result.output
    assert "would be certified then, and not" in result.exception.message()
    assert outcome(FAILED) is Outcome.RESET
    assert surefoot("runs", verb, str(FAILED), "--why", "typo", "--sure", *rest).exit_code == 0


def test_somebody_there_is_asked_about_every_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    for place in (
        common,
        __import__("surefoot.cli.runs", fromlist=["x"]),
        __import__("surefoot.cli.log", fromlist=["x"]),
    ):
        monkeypatch.setattr(place, "attended", lambda: True)
    result = surefoot("runs", "void", str(DEEPER), "--why", "typo", keys="no\n")
    assert result.exit_code == 1 and "would count as a failure no more" in result.output
    assert outcome(DEEPER) is Outcome.RESET
    assert surefoot("runs", "void", str(DEEPER), "--why", "typo", keys="yes\n").exit_code == 0
    assert outcome(DEEPER) is Outcome.VOID


def test_what_makes_no_claim_deeper_needs_nobody() -> None:
    assert surefoot("runs", "void", str(DEEPER), "--why", "another machine").exit_code == 0
    assert surefoot("runs", "void", "5", "--why", "another machine").exit_code == 0
    assert surefoot("runs", "amend", "4", "--why", "misread", "--minutes", "2").exit_code == 0
