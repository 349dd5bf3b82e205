"""A journal of any earlier schema opens, is brought forward, and keeps every record."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import JournalError
from surefoot.journal import Journal, schema
from surefoot.journal import schema_1 as first_schema
from surefoot.runs import Outcome
from surefoot.units import Setting

DATA = Path(__file__).parent / "data"
NAME = "shoebox-3"


@pytest.fixture
def schema_1(folder: Path) -> Path:
    """A journal as schema 1 left it, made from its own SQL and not by the code of today."""
    folder.mkdir()
    path = folder / "journal.sqlite"
    made = sqlite3.connect(path)
    made.executescript((DATA / "schema-1.sql").read_text(encoding="utf-8"))
    made.close()
    return path


def check_everything(journal: Journal) -> None:
    assert journal.faults() == []
    assert [unit.name for unit in journal.units()] == [NAME] and journal.unit(NAME).firmware == "1.14"
    assert journal.consent(NAME) is not None
    by_hand, reset, still_open = journal.runs(NAME)
    assert (by_hand.outcome, by_hand.setting) == (Outcome.HELD, Setting(values={"gpu-core": 120}))
    assert (reset.outcome, reset.minutes, reset.heartbeats) == (Outcome.RESET, 2.5, 2)
    assert reset.plan.conditions.ambient_celsius == 21 and reset.closing and reset.closing.detail == {"boot": "b2"}
    assert [run.id for run in journal.open_runs()] == [still_open.id]
    trace = journal.trace(reset.id)
    assert trace.seconds.tolist() == [*range(10)]
    assert np.array_equal(
        trace.channels["cpu.temperature"], [50, 51, 52.5, np.nan, 53, 60, 61, 62, 63, 64], equal_nan=True
    )
    assert trace.channels["cpu.voltage"][:5].tolist() == [0.9, 0.9125, 0.925, 0.9375, 0.95]
    assert journal.trace(by_hand.id).channels["gpu.power"].tolist() == [100, 100.125, 100.25, 100.375, 100.5]
    assert [entry.score.value for entry in journal.scores(NAME)] == [241.5]
    assert [entry.reading.value for entry in journal.readings(NAME)] == [41.2]
    assert journal.configuration_names(NAME) == {"k": ("as it came", 0)}
    assert journal.remembered_columns("f") == {"CPU": "cpu.temperature"}
    assert [entry.forecast for entry in journal.forecasts(NAME)] == [{"watts": 41.0}]


def test_a_journal_of_schema_1_opens_with_everything_in_it(schema_1: Path) -> None:
    with Journal.open() as journal:
        check_everything(journal)


def test_migrations_are_recorded_by_name_and_number(folder: Path) -> None:
    with Journal.open() as journal:
        applied = [row["name"] for row in journal.database["_sqlite_migrations"].rows]
        assert applied == [f"schema {number}" for number in range(1, schema.VERSION + 1)]
        assert journal._store.rows("PRAGMA user_version")[0][0] == schema.VERSION == len(applied)


def test_a_released_schema_is_never_edited(schema_1: Path) -> None:
    """What the code makes for schema 1 is what the kept SQL made."""

    def objects(connection: sqlite3.Connection) -> dict[str, str]:
        rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
        return {
            name: " ".join(sql.split())
            for name, sql in rows
            if not name.startswith("sqlite_") and "_sqlite_migrations" not in name
        }

    new = sqlite3.connect(":memory:")
    for statement in first_schema.statements():
        new.execute(statement)
    with sqlite3.connect(schema_1) as kept:
        assert objects(new) == objects(kept)


NEXT = schema.VERSION + 1


@pytest.fixture
def next_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    """A made-up schema after the last, to prove the way forward before there is one."""
    build = schema.migrations

    def with_next():
        steps = build()

        @steps(name=f"schema {NEXT}")
        def _next(db):
            db.conn.execute("CREATE TABLE bench_notes (id INTEGER PRIMARY KEY, text TEXT NOT NULL)")
            db.conn.execute(f"PRAGMA user_version = {NEXT}")
            if db.execute("SELECT count(*) FROM runs WHERE load = 'breaks the migration'").fetchone()[0]:
                raise sqlite3.OperationalError("made to fail")

        return steps

    monkeypatch.setattr(schema, "migrations", with_next)
    monkeypatch.setattr(schema, "VERSION", NEXT)


@pytest.mark.usefixtures("next_schema")
def test_an_older_journal_is_brought_forward_once_and_its_former_state_is_kept(schema_1: Path) -> None:
    before = schema_1.read_bytes()
    with Journal.open(read_only=True) as reader:
        check_everything(reader)
    assert schema_1.read_bytes() == before, "reading brings nothing forward but what is in memory"
    for _ in range(2):
        with Journal.open() as journal:
            check_everything(journal)
            assert journal._store.rows("SELECT * FROM bench_notes") == []
            names = [row["name"] for row in journal.database["_sqlite_migrations"].rows]
            assert names == [f"schema {number}" for number in range(1, NEXT + 1)]
    kept = sqlite3.connect(schema_1.with_name("journal.schema-1.sqlite"))
    assert kept.execute("PRAGMA user_version").fetchone()[0] == 1
    assert kept.execute("SELECT count(*) FROM runs").fetchone()[0] == 3
    kept.close()


@pytest.mark.usefixtures("next_schema")
def test_a_migration_that_fails_leaves_the_older_journal(schema_1: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = sqlite3.connect(schema_1)
    other.execute(
        "INSERT INTO runs (unit, card_id, opened_at, setting, load, planned_minutes, purpose, source)"
        " SELECT unit, card_id, opened_at, setting, 'breaks the migration', 1, purpose, source FROM runs WHERE id = 1"
    )
    other.commit()
    with pytest.raises(JournalError, match="made to fail"):
        Journal.open()
    assert other.execute("PRAGMA user_version").fetchone()[0] == NEXT - 1, "brought as far as it goes"
    assert other.execute("SELECT count(*) FROM sqlite_master WHERE name = 'bench_notes'").fetchone()[0] == 0
    other.close()


def test_a_migrated_journal_and_a_new_one_have_the_same_schema(schema_1: Path, folder: Path) -> None:
    with Journal.open() as old, Journal.open(folder / "new.sqlite") as new:
        made = {name: text for name, text in new.store.schema_objects().items() if "_migrations" not in name}
        kept = {name: text for name, text in old.store.schema_objects().items() if "_migrations" not in name}
        assert kept == made


def test_runs_of_schema_1_can_be_corrected(schema_1: Path) -> None:
    with Journal.open() as journal:
        first, reset, _ = journal.runs(NAME)
        journal.amend_run(first.id, {"minutes": 3.0}, who="ada", why="a nought too many")
        journal.void_run(reset.id, who="ada", why="another machine")
    with Journal.open() as journal:
        first, reset, _ = journal.runs(NAME)
        assert (first.minutes, reset.outcome) == (3.0, Outcome.VOID)
        assert journal.run_as_written(reset.id).outcome is Outcome.RESET
