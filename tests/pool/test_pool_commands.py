"""`pool build`, `next --pool` and `fleet` as a user gives them, on a journal of two units of a kind."""

import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.report.material import collect
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

KNOB = Knob("core", "cpu", "mV", "down", step=5.0, limit=200.0, load="gear-check")
RUNS = [(0, 2), (20, 2), (40, 2), (60, 4), (80, -1), (65, 20), (65, 20)]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    at = datetime(2026, 10, 1, 9, tzinfo=UTC)
    with Journal.open() as journal:
        for name in ("left", "right", "secret name"):
            journal.add_unit(Unit(name=name, parts={"platform": "Third Arch 4"}, knobs=(KNOB,)))
            for depth, minutes in RUNS:
                at += timedelta(hours=1)
                plan = RunPlan(
                    unit_name=name, setting=Setting(values={"core": -depth}), load="gear-check",
                    planned_minutes=abs(minutes), knob="core", source="hand",
                )  # fmt: skip
                outcome = Outcome.HELD if minutes > 0 else Outcome.RESET
                journal.log_run(plan, Closing(outcome=outcome, minutes=abs(minutes), judged_by="hand"), at=at)
    return tmp_path


def told(*words: str) -> str:
    done = CliRunner().invoke(app, list(words), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def test_a_pool_is_built_from_a_journal_without_its_names_and_lent_to_one_of_its_units(home: Path) -> None:
    file = home / "pool.parquet"
    done = json.loads(told("pool", "build", str(home / "home"), "--to", str(file), "--json"))
    assert (done["units"], done["failures"]) == (3, 3)
    assert b"secret name" not in file.read_bytes()
    step = json.loads(told("next", "left", "--pool", str(file), "--json"))
    assert "Lent by the pool pool.parquet: core 2 units" in step["claim"]
    assert "Without it" in step["claim"]
    assert "pool" not in json.loads(told("next", "left", "--json"))["claim"]


def test_a_pool_on_the_card_counts_in_recall_and_one_that_is_gone_is_told(home: Path) -> None:
    file = home / "pool.parquet"
    told("pool", "build", str(home / "home"), "--to", str(file))
    with Journal.open() as journal:
        journal.revise_unit(journal.unit("left").model_copy(update={"pool": str(file)}))
    assert "Lent by the pool" in json.loads(told("recall", "left", "--json"))["words"]
    file.unlink()
    answer = json.loads(told("recall", "left", "--json"))
    assert "Lent by the pool" not in answer["words"]
    assert any("the card's pool cannot be used" in text for text in answer["warnings"])


def test_a_pool_given_to_tune_is_remembered_and_the_report_makes_the_same_claim(home: Path) -> None:
    file = home / "pool.parquet"
    told("pool", "build", str(home / "home"), "--to", str(file))
    done = CliRunner().invoke(
        app, ["tune", "left", "--pool", str(file), "--unattended", "--json", "--max-runs", "1"], catch_exceptions=True
    )
    # Its hands ask, and nobody is there: no run is made, and the card has the pool all the same.
    assert done.exit_code != 0
    with Journal.open() as journal:
        assert journal.unit("left").pool == str(file.resolve())
        material = collect(journal, "left")
    said = json.loads(told("recall", "left", "--json"))
    assert "Lent by the pool" in said["words"] and "Without it" in said["words"]
    assert material.known is not None and material.known.says == said["words"]
    CliRunner().invoke(app, ["tune", "left", "--no-pool", "--unattended"])
    with Journal.open() as journal:
        assert journal.unit("left").pool == ""
    assert "Lent by" not in json.loads(told("recall", "left", "--json"))["words"]


def test_the_fleet_shows_each_unit_with_its_edge_among_its_like(home: Path) -> None:
    found = json.loads(told("fleet", "--csv", str(home / "fleet.csv"), "--json"))
    assert (len(found["units"]), found["crashes"]) == (3, 3)
    assert found["units"][0]["edges"][0]["others"] == 2
    with (home / "fleet.csv").open(encoding="utf-8", newline="") as file:
        assert [row["unit"] for row in csv.DictReader(file)] == ["left", "right", "secret name"]
    assert "3 crashes" in told("fleet")


def test_a_pool_is_not_written_over_unasked(home: Path) -> None:
    file = home / "pool.parquet"
    file.write_text("mine")
    with pytest.raises(BadInput, match="there is a file"):
        told("pool", "build", str(home / "home"), "--to", str(file))
    assert file.read_text() == "mine"
