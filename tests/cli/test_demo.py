"""The demo: a real journal, search and recall on a virtual unit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from surefoot.cli.main import app
from surefoot.guide.demo import play
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.runs import Outcome


def surefoot(home: Path, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> Result:
    monkeypatch.setenv("SUREFOOT_HOME", str(home))
    return CliRunner().invoke(app, list(arguments))


def test_two_demos_with_one_seed_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answers = []
    for home in (tmp_path / "one", tmp_path / "two"):
        assert surefoot(home, monkeypatch, "demo", "--no-report").exit_code == 0
        result = surefoot(home, monkeypatch, "recall", "demo", "--json")
        assert result.exit_code == 0
        answers.append(json.loads(result.stdout))
    assert answers[0] == answers[1]
    assert answers[0]["setting"]["cpu-core"] < 0
    assert answers[0]["certificate"]["mttf_hours"] >= 100
    assert answers[0]["certificate"]["confidence"] == 0.9


def test_the_demo_ends_with_its_files_and_can_be_played_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = surefoot(tmp_path, monkeypatch, "demo", "--seed", "4")
    assert first.exit_code == 0, first.output
    assert str(tmp_path / "journal.sqlite") in first.stdout
    assert (tmp_path / "demo-report.html").stat().st_size > 100_000
    again = surefoot(tmp_path, monkeypatch, "demo", "--seed", "4", "--no-report", "--json")
    assert json.loads(again.stdout)["unit"] == "demo-2"


@pytest.mark.parametrize("seed", [15, 1, 2])
def test_it_crashes_recovers_and_is_honest(tmp_path: Path, seed: int) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        played = play(journal, seed, Unattended())
        runs = journal.runs(played.unit.name)
    assert played.crashes >= 1
    assert any(run.outcome is Outcome.RESET and run.closing and run.closing.detail["recovered"] for run in runs)
    assert played.recall.known
    assert played.true_mttf_hours >= 100
    assert played.recall.joint
