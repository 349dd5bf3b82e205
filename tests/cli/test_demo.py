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
from surefoot.units import Unit


def surefoot(home: Path, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> Result:
    monkeypatch.setenv("SUREFOOT_HOME", str(home))
    return CliRunner().invoke(app, list(arguments))


def test_two_demos_with_one_seed_agree_and_the_second_has_a_name_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = []
    for name in ("demo", "demo-2"):
        played = surefoot(tmp_path, monkeypatch, "demo", "--no-report", "--json")
        assert json.loads(played.stdout)["unit"] == name
        result = surefoot(tmp_path, monkeypatch, "recall", name, "--json")
        assert result.exit_code == 0
        answers.append({**json.loads(result.stdout), "unit": None})
    assert {key for key in answers[0] if answers[0][key] != answers[1][key]} <= {"run_ids"}
    assert answers[0]["setting"]["cpu-core"] < 0
    assert answers[0]["certificate"]["mttf_hours"] >= 100
    assert answers[0]["certificate"]["confidence"] == 0.9


def test_the_demo_ends_with_its_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The page itself is made and read in tests/report; here it is asked for, of the unit that was played."""

    def page(journal: Journal, unit: Unit, path: Path) -> None:
        path.write_text(f"{unit.name}: {len(journal.runs(unit.name))} runs")

    monkeypatch.setattr("surefoot.report.page.write_report", page)
    first = surefoot(tmp_path, monkeypatch, "demo", "--seed", "4")
    assert first.exit_code == 0, first.output
    assert str(tmp_path / "journal.sqlite") in first.stdout and str(tmp_path / "demo-report.html") in first.stdout
    with Journal.open(tmp_path, read_only=True) as journal:
        assert (tmp_path / "demo-report.html").read_text() == f"demo: {len(journal.runs('demo'))} runs"


@pytest.mark.long
def test_the_demo_with_its_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert surefoot(tmp_path, monkeypatch, "demo", "--seed", "4").exit_code == 0
    assert (tmp_path / "demo-report.html").stat().st_size > 100_000


@pytest.mark.parametrize("seed", [15, pytest.param(1, marks=pytest.mark.long), pytest.param(2, marks=pytest.mark.long)])
def test_it_crashes_recovers_and_is_honest(tmp_path: Path, seed: int) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        played = play(journal, seed, Unattended())
        runs = journal.runs(played.unit.name)
    assert played.crashes >= 1
    assert any(run.outcome is Outcome.RESET and run.closing and run.closing.detail["recovered"] for run in runs)
    assert played.recall.known
    assert played.true_mttf_hours >= 100
    assert played.recall.joint
