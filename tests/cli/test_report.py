"""`surefoot report` as a user meets it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app, run
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

RUN = CliRunner()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A journal with a unit of one knob and two runs; the working directory is beside it."""
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    with Journal.open() as journal:
        journal.add_unit(Unit(name="my <laptop>", knobs=(Knob("core", "cpu", "mV", "down", 5, 100),)))
        for depth in (0, 20):
            journal.log_run(
                RunPlan(
                    unit_name="my <laptop>",
                    setting=Setting(values={"core": -depth}),
                    load="l",
                    planned_minutes=5,
                    knob="core",
                ),
                Closing(outcome=Outcome.HELD, minutes=5, judged_by="eye"),
            )
    return work


def test_it_writes_the_page_and_says_where(home: Path) -> None:
    done = RUN.invoke(app, ["report", "my <laptop>"])
    assert done.exit_code == 0, done.output
    page = home / "my-laptop-report.html"
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert "my-laptop-report.html" in done.output
    assert "What was gained: surefoot score 'my <laptop>' NAME VALUE" in done.output
    assert all(len(line) <= 80 for line in done.output.splitlines())


def test_json_and_pictures(home: Path) -> None:
    done = RUN.invoke(app, ["report", "my <laptop>", "--out", "a/b.html", "--pictures", "pics", "--json"])
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["unit"] == "my <laptop>" and (home / said["page"]).exists()
    assert "search-path-core" in said["charts"]
    assert {Path(file).suffix for file in said["files"]} == {".svg", ".png", ".csv"}
    assert all((home / file).stat().st_size > 0 for file in said["files"])


def test_open_hands_the_page_to_the_browser(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    monkeypatch.setattr("typer.launch", opened.append)
    assert RUN.invoke(app, ["report", "my <laptop>", "--open"]).exit_code == 0
    assert opened == [(home / "my-laptop-report.html").resolve().as_uri()]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["report", "nobody"], "no unit"),
        (["report", "my <laptop>", "--out", "."], "is a folder"),
        (["report", "my <laptop>", "--baseline", "nothing"], "nothing was measured"),
    ],
)
def test_bad_input_is_one_message_and_exit_2(
    home: Path, arguments: list[str], says: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["surefoot", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    said = capsys.readouterr().err
    assert ended.value.code == 2
    assert says in said and "Traceback" not in said and said.count("\n") == 1
    assert list(home.iterdir()) == []
