"""A damaged journal is told, refused for writing and rescued; a backup is one state of it, whatever is written."""

from __future__ import annotations

import json
import random
import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from power_cuts import digest, with_runs
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal, schema
from surefoot.journal.backup import back_up
from surefoot.journal.inspection import inspect_journal
from surefoot.journal.rescue import rescue
from surefoot.journal.whole import WORK, workroom
from surefoot.runs import Outcome, RunPlan
from surefoot.units import Setting

NAME = "shoebox-3"


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A journal with some runs."""
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    with_runs(tmp_path / "home", NAME, 6)
    return tmp_path / "home" / "journal.sqlite"


def test_a_backup_is_made_while_a_session_writes(path: Path, tmp_path: Path) -> None:
    stop = threading.Event()
    with Journal.open(path) as journal:
        run = journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=10))

        def write() -> None:
            minutes = 0.0
            while not stop.is_set():
                minutes += 0.1
                journal.heartbeat(run, minutes)

        writer = threading.Thread(target=write)
        writer.start()
        try:
            for number in range(5):
                made = back_up(path, tmp_path / f"copy-{number}.sqlite")
                assert made.runs == 7
        finally:
            stop.set()
            writer.join()
    beats = []
    for number in range(5):
        with Journal.open(tmp_path / f"copy-{number}.sqlite") as copy:
            assert copy.faults() == []
            beats.append(copy.run(run).heartbeats)
    assert beats == sorted(beats)
    assert not list(tmp_path.glob(".*")) and not (path.parent / WORK).exists()


def test_a_backup_writes_over_nothing_unasked(path: Path, tmp_path: Path) -> None:
    there = tmp_path / "there.sqlite"
    there.write_text("mine")
    with pytest.raises(BadInput, match="of that name"):
        back_up(path, there)
    with pytest.raises(BadInput, match="itself"):
        back_up(path, path, overwrite=True)
    assert there.read_text() == "mine"
    back_up(path, there, overwrite=True)
    with Journal.open(path) as journal, Journal.open(there) as copy:
        assert digest(journal) == digest(copy)


def test_a_journal_that_is_well_is_said_to_be(path: Path) -> None:
    done = CliRunner().invoke(app, ["journal", "check", "--json"])
    told = json.loads(done.output)
    assert done.exit_code == 0 and told["well"] and told["runs"] == 6 and told["faults"] == []


def damaged_at(path: Path, places: list[int], to: Path) -> Path:
    content = bytearray(path.read_bytes())
    for place in places:
        content[place] ^= 0xFF
    to.write_bytes(content)
    return to


def test_damage_is_told_and_what_is_readable_is_rescued(path: Path, tmp_path: Path) -> None:
    with Journal.open(path) as journal:
        runs = {run.id: run for run in journal.runs(NAME)}
    chance, size = random.Random(4), path.stat().st_size
    rescued = 0
    for number in range(12):
        page = chance.randrange(1, size // 8192) * 8192
        hurt = damaged_at(path, [page + place for place in range(64)], tmp_path / f"hurt-{number}.sqlite")
        before = hurt.read_bytes()
        found = inspect_journal(hurt)
        done = rescue(hurt, tmp_path / f"new-{number}.sqlite")
        assert hurt.read_bytes() == before
        with Journal.open(done.path) as new:
            assert new.faults() == [] and inspect_journal(done.path).well
            kept = {run.id: run for run in new.runs(NAME)} if new.units(retired=True) else {}
        for key, run in kept.items():
            whole = run == runs[key]
            assert whole or run.outcome is Outcome.VOID or any(done.lost.values()), "left out without being counted"
        if found.well:
            assert kept == runs, "damage that nobody was told of"
        rescued += len(kept)
    assert rescued > 12, "most damage leaves most runs"


def test_a_file_cut_short_is_rescued_as_far_as_it_goes(path: Path, tmp_path: Path) -> None:
    content = path.read_bytes()
    cut = tmp_path / "cut.sqlite"
    cut.write_bytes(content[: len(content) * 3 // 4])
    assert not inspect_journal_or_error(cut)
    done = rescue(cut, tmp_path / "new.sqlite")
    with Journal.open(done.path) as new:
        assert new.faults() == []
    assert done.kept or done.lost


def inspect_journal_or_error(path: Path) -> bool:
    try:
        return inspect_journal(path).well
    except JournalError as error:
        assert "damaged" in error.what
        return False


def test_a_whole_journal_is_rescued_whole(path: Path, tmp_path: Path) -> None:
    done = rescue(path, tmp_path / "new.sqlite")
    assert not done.lost and not done.words and done.runs == 6
    with Journal.open(path) as old, Journal.open(done.path) as new:
        assert digest(old) == digest(new)


def test_a_missing_trigger_is_told(path: Path) -> None:
    other = sqlite3.connect(path)
    other.execute("DROP TRIGGER runs_no_update")
    other.close()
    done = CliRunner().invoke(app, ["journal", "check"])
    assert done.exit_code == 1 and "runs_no_update: is not there" in done.output


def test_newer_foreign_and_no_journal_are_refused(path: Path, tmp_path: Path) -> None:
    newer, foreign = tmp_path / "newer.sqlite", tmp_path / "foreign.sqlite"
    back_up(path, newer)
    for file, statement in ((newer, f"PRAGMA user_version = {schema.VERSION + 1}"), (foreign, "CREATE TABLE t (a)")):
        connection = sqlite3.connect(file)
        connection.execute(statement)
        connection.close()
    for file in (newer, foreign, tmp_path / "missing.sqlite"):
        for act in (lambda f=file: inspect_journal(f), lambda f=file: rescue(f, tmp_path / "new.sqlite")):
            with pytest.raises(JournalError):
                act()
    assert not (tmp_path / "new.sqlite").exists()


def test_what_a_killed_process_had_in_the_making_is_swept(path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    left = path.parent / WORK / f"{gone.pid}-left"
    left.mkdir(parents=True)
    (left / "copy.sqlite").write_text("half")
    with workroom(path.parent) as room:
        assert not left.exists() and room.is_dir()
        Journal.open(path).close()
        assert room.is_dir(), "what a living process makes is left alone"
    left.mkdir(parents=True)
    Journal.open(path).close()
    assert not (path.parent / WORK).exists()


def test_a_step_half_written_before_write_ahead_logging_is_taken_back(tmp_path: Path) -> None:
    """A power cut while an older journal was changed: found by replaying the states of a migration."""
    old = tmp_path / "old.sqlite"
    made = sqlite3.connect(old)
    made.executescript((Path(__file__).parents[1] / "journal" / "data" / "schema-1.sql").read_text(encoding="utf-8"))
    made.execute("PRAGMA cache_size = 1")
    made.execute("BEGIN")
    for number in range(400):
        made.execute("INSERT INTO column_mappings (at, fingerprint, mapping) VALUES ('', ?, ?)", (number, "x" * 500))
    home = tmp_path / "home"
    home.mkdir()
    for suffix in ("", "-journal"):
        (home / f"journal.sqlite{suffix}").write_bytes((tmp_path / f"old.sqlite{suffix}").read_bytes())
    made.close()
    with Journal.open(home / "journal.sqlite") as journal:
        assert journal.faults() == [] and len(journal.runs(NAME)) == 3
        assert journal.store.rows("SELECT count(*) FROM column_mappings")[0][0] == 1
