"""A run that was written wrongly: a later word counts, the first stays, and everybody sees who said what and why."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Conditions, Setting

NAME = "shoebox-3"
AT = datetime(2031, 1, 2, 3, 4, tzinfo=UTC)


@pytest.fixture
def run_id(journal: Journal) -> int:
    plan = RunPlan(
        unit_name=NAME,
        setting=Setting(values={"cpu-core": -30}),
        load="cpu",
        planned_minutes=300,
        source="hand",
        conditions=Conditions(firmware="1.02"),
    )
    return journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=300, judged_by="told by the user"), at=AT)


def test_an_amended_run_is_given_as_it_stands_and_as_it_was(journal: Journal, run_id: int) -> None:
    changes = {"minutes": 30.0, "setting": {"cpu-core": -35}, "firmware": "1.03", "load": "cpu-all"}
    journal.amend_run(run_id, changes, who="ada", why="a nought too many", at=AT)
    run = journal.run(run_id)
    assert (run.minutes, run.setting.values, run.plan.load) == (30, {"cpu-core": -35}, "cpu-all")
    assert run.plan.conditions.firmware == "1.03" and run.is_corrected
    assert [(one.who, one.kind, one.why, one.at) for one in run.corrections] == [
        ("ada", "amend", "a nought too many", AT)
    ]
    assert run.closing is not None and run.closing.judged_by == "told by the user; amended by ada: a nought too many"
    assert journal.runs(NAME) == [run]
    before = journal.run_as_written(run_id)
    assert (before.minutes, before.setting.values, before.is_corrected) == (300, {"cpu-core": -30}, False)


def test_only_what_differs_is_written_and_the_last_word_counts(journal: Journal, run_id: int) -> None:
    journal.amend_run(run_id, {"minutes": 30.0, "outcome": "held"}, who="ada", why="typed wrong")
    journal.amend_run(run_id, {"outcome": "reset"}, who="bo", why="it had crashed")
    run = journal.run(run_id)
    assert [one.changes for one in run.corrections] == [{"minutes": 30.0}, {"outcome": "reset"}]
    assert (run.outcome, run.minutes) == (Outcome.RESET, 30)


def test_a_voided_run_is_no_evidence_and_can_be_taken_back(journal: Journal, run_id: int) -> None:
    journal.void_run(run_id, who="ada", why="another machine")
    assert journal.runs(NAME)[0].outcome is Outcome.VOID
    with pytest.raises(BadInput, match="void already"):
        journal.void_run(run_id, who="ada", why="again")
    journal.amend_run(run_id, {"outcome": "held"}, who="ada", why="it was this one after all")
    assert journal.runs(NAME)[0].outcome is Outcome.HELD


def test_a_run_moves_to_the_time_it_was_corrected_to(journal: Journal, run_id: int) -> None:
    later = journal.log_run(journal.run(run_id).plan, Closing(outcome=Outcome.HELD, minutes=1, judged_by="x"), at=AT)
    journal.amend_run(run_id, {"opened_at": "2031-02-02T00:00:00+00:00"}, who="ada", why="the month was wrong")
    assert [run.id for run in journal.runs(NAME)] == [later, run_id]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"unit": "other"}, "cannot be corrected"),
        ({"minutes": -1}, "greater than or equal"),
        ({"outcome": "fine"}, "no outcome 'fine'"),
        ({"setting": {"ghost": 1}}, "no knob 'ghost'"),
        ({"setting": {"cpu-core": 30}}, "above stock"),
        ({"ambient_celsius": None}, "gives a value"),
        ({"minutes": 300}, "nothing would change"),
        ({}, "nothing would change"),
    ],
)
def test_what_cannot_be_is_refused_and_writes_nothing(
    journal: Journal, run_id: int, changes: dict[str, Any], words: str
) -> None:
    with pytest.raises(BadInput, match=words):
        journal.amend_run(run_id, changes, who="ada", why="x")
    assert not journal.run(run_id).is_corrected
    with pytest.raises(BadInput, match="says why"):
        journal.void_run(run_id, who="ada", why="  ")


def test_an_open_run_is_not_corrected_by_anybody(journal: Journal) -> None:
    number = journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1))
    with pytest.raises(BadInput, match="still open"):
        journal.void_run(number, who="ada", why="x")
    with sqlite3.connect(journal.path) as other, pytest.raises(sqlite3.IntegrityError, match="still open"):
        other.execute(
            "INSERT INTO corrections (run_id, at, who, kind, why, changes) VALUES (?, '', '', 'void', 'x', '{}')",
            (number,),
        )


def test_the_views_follow_in_any_client(journal: Journal, run_id: int) -> None:
    journal.amend_run(run_id, {"minutes": 30.0, "setting": {"cpu-core": -35}}, who="ada", why="typed wrong")
    journal.void_run(run_id, who="ada", why="another machine")
    with sqlite3.connect(journal.path) as other:
        row = other.execute("SELECT setting, minutes, outcome, corrections FROM runs_view").fetchone()
        assert row == ("cpu-core -35 mV", 30.0, "void", 2)
        assert other.execute("SELECT knob, offset FROM run_knobs").fetchall() == [("cpu-core", -35)]


def test_a_bundle_carries_corrections(journal: Journal, run_id: int, tmp_path: Path) -> None:
    journal.amend_run(run_id, {"minutes": 30.0}, who="ada", why="typed wrong")
    save_bundle(journal, NAME, tmp_path / "b", whole=True)
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        load_bundle(second, tmp_path / "b")
        run = second.runs(NAME)[0]
        assert run.minutes == 30 and second.run_as_written(run.id).minutes == 300
        assert run.corrections == journal.run(run_id).corrections


def test_a_read_only_journal_takes_no_correction(journal: Journal, run_id: int) -> None:
    journal.close()
    with Journal.open(read_only=True) as reader, pytest.raises(JournalError, match="reading only"):
        reader.void_run(run_id, who="ada", why="x")
