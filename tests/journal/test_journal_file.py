"""The file itself: append-only, refused when it is not ours, durable, readable by any client."""

from __future__ import annotations

import hashlib
import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal, schema
from surefoot.journal.store import Store
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Setting, Unit

HELD = Closing(outcome=Outcome.HELD, minutes=10, judged_by="held for the planned time")


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def filled(journal: Journal) -> int:
    run_id = journal.open_run(
        RunPlan(unit_name="shoebox-3", setting=Setting(values={"cpu-core": -50}), load="cpu", planned_minutes=10)
    )
    journal.applied(run_id, Setting(values={"cpu-core": -50}))
    journal.heartbeat(run_id, 1)
    journal.close_run(run_id, HELD)
    return run_id


@pytest.mark.parametrize("table", sorted(schema.RECORD_TABLES))
def test_every_table_refuses_update_delete_and_replace_from_any_client(journal: Journal, table: str) -> None:
    journal.void_run(filled(journal), who="ada", why="another machine")
    other = sqlite3.connect(journal.path)
    columns = [row[1] for row in other.execute(f"PRAGMA table_info({table})")]
    key = schema.RECORD_TABLES[table]
    if other.execute(f"SELECT count(*) FROM {table}").fetchone()[0] == 0:
        # Nothing in it yet: one row, with foreign keys off as in any client that does not ask for them.
        values = map(_any_value, columns)
        other.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join(values)})")
        other.commit()
    before = other.execute(f"SELECT * FROM {table}").fetchall()
    assert before
    for sql in (
        f"UPDATE {table} SET {key} = {key}",
        f"DELETE FROM {table}",
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    ):
        with pytest.raises(sqlite3.IntegrityError, match=r"append-only|the run is closed"):
            other.execute(sql)
    assert other.execute(f"SELECT * FROM {table}").fetchall() == before
    other.close()


def _any_value(column: str) -> str:
    texts = {"kind": "'sound'", "state": "'load'", "data": "x'00'", "import_id": "NULL"}
    numbers = {
        "id",
        "run_id",
        "layout_id",
        "heartbeat_id",
        "samples",
        "value",
        "rank",
        "higher_is_better",
        "background",
    }
    return texts.get(column, "1" if column in numbers else "'[]'")


def test_another_client_cannot_break_the_life_of_a_run(journal: Journal) -> None:
    run_id = filled(journal)
    with sqlite3.connect(journal.path) as other, pytest.raises(sqlite3.IntegrityError, match="run is closed"):
        other.execute("INSERT INTO heartbeats (run_id, at, minutes) VALUES (?, 'now', 99)", (run_id,))
    with sqlite3.connect(journal.path) as other, pytest.raises(sqlite3.IntegrityError):
        other.execute("PRAGMA foreign_keys = ON")
        other.execute("INSERT INTO heartbeats (run_id, at, minutes) VALUES (4711, 'now', 99)")


def test_the_views_read_well_in_any_client(journal: Journal) -> None:
    run_id = filled(journal)
    journal.log_run(
        RunPlan(
            unit_name="shoebox-3",
            setting=Setting(values={"cpu-core": -95, "gpu-core": 120}),
            load="a game",
            planned_minutes=30,
            source="hand",
        ),
        Closing(outcome=Outcome.RESET, minutes=12.5, judged_by="seen"),
    )
    rows = (
        sqlite3.connect(journal.path)
        .execute("SELECT run, unit, setting, load, minutes, outcome FROM runs_view ORDER BY run")
        .fetchall()
    )
    assert rows == [
        (run_id, "shoebox-3", "cpu-core -50 mV", "cpu", 10.0, "held"),
        (run_id + 1, "shoebox-3", "cpu-core -95 mV, gpu-core +120 MHz", "a game", 12.5, "reset"),
    ]
    assert [row["unit"] for row in journal.database.query("SELECT unit FROM units_view")] == ["shoebox-3"]


@pytest.mark.flushed
def test_the_file_is_set_to_survive_a_power_loss(journal: Journal) -> None:
    store: Store = journal._store
    assert store.row("PRAGMA synchronous")[0] == 2, "FULL"  # type: ignore[index]
    assert store.row("PRAGMA journal_mode")[0] in ("wal", "truncate")  # type: ignore[index]
    assert store.row("PRAGMA foreign_keys")[0] == 1  # type: ignore[index]
    assert store.row("PRAGMA application_id")[0] == schema.APPLICATION_ID  # type: ignore[index]


def test_a_step_but_a_heartbeat_is_in_the_main_file_alone(journal: Journal, tmp_path: Path) -> None:
    run_id = filled(journal)
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(journal.path.read_bytes())
    with Journal.open(copy) as copied:
        assert copied.run(run_id) == journal.run(run_id)


def test_a_newer_schema_is_refused_untouched(journal: Journal) -> None:
    journal.close()
    with sqlite3.connect(journal.path) as other:
        other.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    other.close()
    before = digest(journal.path)
    for read_only in (False, True):
        with pytest.raises(JournalError, match=r"newer Surefoot.*Install"):
            Journal.open(read_only=read_only)
    assert digest(journal.path) == before


def test_a_foreign_file_is_refused_untouched(folder: Path) -> None:
    folder.mkdir()
    path = folder / "journal.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    before = digest(path)
    with pytest.raises(JournalError, match="not a journal"):
        Journal.open()
    assert digest(path) == before and os.listdir(folder) == ["journal.sqlite"]


@pytest.mark.parametrize(
    "content", [b"not a database at all, but long enough to be one" * 40, b"SQLite format 3\0", b"x"]
)
def test_a_damaged_file_is_refused_untouched_and_says_what_to_do(folder: Path, content: bytes) -> None:
    folder.mkdir()
    path = folder / "journal.sqlite"
    path.write_bytes(content)
    with pytest.raises(JournalError, match=r"damaged.*did not change it.*Copy"):
        Journal.open()
    assert path.read_bytes() == content


def test_damage_inside_the_file_is_told_and_not_made_worse(journal: Journal) -> None:
    filled(journal)
    journal.close()
    content = bytearray(journal.path.read_bytes())
    for page in range(1, len(content) // 4096):
        content[page * 4096 : page * 4096 + 64] = b"\xa5" * 64
    journal.path.write_bytes(content)
    with pytest.raises(JournalError, match="damaged"), Journal.open() as opened:
        opened.runs("shoebox-3")
    assert journal.path.read_bytes() == bytes(content)


def test_a_file_cut_short_is_told(journal: Journal) -> None:
    filled(journal)
    journal.close()
    content = journal.path.read_bytes()
    journal.path.write_bytes(content[: len(content) // 2])
    with pytest.raises(JournalError, match="damaged"), Journal.open() as opened:
        opened.runs("shoebox-3")


def test_a_creation_cut_short_is_finished_the_next_time(folder: Path) -> None:
    folder.mkdir()
    path = folder / "journal.sqlite"
    with sqlite3.connect(path) as begun:
        begun.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        begun.execute("CREATE TABLE _sqlite_migrations (id INTEGER PRIMARY KEY, migration_set, name, applied_at)")
    begun.close()
    with Journal.open() as journal:
        assert journal.units() == [] and journal.faults() == []


def test_an_empty_file_becomes_a_journal(folder: Path) -> None:
    folder.mkdir()
    (folder / "journal.sqlite").touch()
    with Journal.open() as journal:
        assert journal.units() == []


def test_reading_only_writes_nothing(journal: Journal) -> None:
    filled(journal)
    journal.close()
    before = digest(journal.path)
    with Journal.open(read_only=True) as reader:
        assert len(reader.runs("shoebox-3")) == 1
        with pytest.raises(JournalError, match="reading only"):
            reader.add_unit(Unit(name="other"))
    assert digest(journal.path) == before


def test_reading_only_needs_a_journal(folder: Path) -> None:
    with pytest.raises(JournalError, match="no journal here yet"):
        Journal.open(read_only=True)
    assert not folder.exists()


def test_a_locked_file_is_told_and_nothing_is_written(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> None:
    journal._store.connection.execute("PRAGMA busy_timeout = 50")
    other = sqlite3.connect(journal.path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match="locked"):
        journal.add_unit(Unit(name="other"))
    other.execute("ROLLBACK")
    other.close()
    journal.add_unit(Unit(name="other"))


def test_a_full_disk_is_told_and_nothing_is_written(journal: Journal) -> None:
    run_id = journal.open_run(RunPlan(unit_name="shoebox-3", setting=Setting(), load="cpu", planned_minutes=10))
    pages = journal.store.rows("PRAGMA page_count")[0][0]
    journal.store.connection.execute(f"PRAGMA max_page_count = {pages}")
    seconds = np.arange(50_000.0)
    with pytest.raises(JournalError, match="disk is full"):
        journal.heartbeat(run_id, 1, Trace(seconds, {"cpu.power": seconds}))
    assert journal.run(run_id).heartbeats == 0 and not journal.has_trace(run_id)
    journal.store.connection.execute("PRAGMA max_page_count = 1000000")
    journal.heartbeat(run_id, 1, Trace(seconds, {"cpu.power": seconds}))
    assert len(journal.trace(run_id)) == seconds.size


def test_a_table_of_runs_is_one_step(journal: Journal) -> None:
    plan = RunPlan(unit_name="shoebox-3", setting=Setting(), load="cpu", planned_minutes=10, source="hand")
    with pytest.raises(BadInput), journal.together():
        journal.log_run(plan, HELD)
        journal.log_run(plan.model_copy(update={"unit_name": "nobody"}), HELD)
    assert journal.runs("shoebox-3") == []
    with journal.together():
        journal.log_run(plan, HELD)
        journal.log_run(plan, HELD)
    assert len(journal.runs("shoebox-3")) == 2


def test_a_client_that_looks_on_does_not_hold_a_session_up(journal: Journal) -> None:
    filled(journal)
    journal._store.connection.execute("PRAGMA busy_timeout = 50")
    looking = sqlite3.connect(journal.path).execute("SELECT * FROM heartbeats UNION ALL SELECT * FROM heartbeats")
    looking.fetchone()
    filled(journal)


def _units_as_can(folder: Path, *, write: bool = False) -> list[str]:
    os.environ["SUREFOOT_HOME"] = str(folder)
    told: list[str] = []
    with Journal.open_as_can(told.append) as journal:
        if write:
            journal.add_unit(Unit(name="other"))
        return [unit.name for unit in journal.units()] + ["only read" for text in told if "only read" in text]


def _as_nobody(act: Callable[[], object]) -> str:
    """What an act raises or returns, as text, done by a process that may write only where anyone may."""
    said, told = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            if os.geteuid() == 0:
                os.setuid(65534)
            os.write(told, repr(act()).encode())
        except Exception as error:  # noqa: BLE001 (a child of a test must end here)
            os.write(told, f"{type(error).__name__}: {error}".encode())
        os._exit(0)
    os.waitpid(child, 0)
    os.close(told)
    text = os.read(said, 65536).decode()
    os.close(said)
    return text


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX permissions")
def test_a_home_that_cannot_be_written_is_told_and_can_still_be_read() -> None:
    schema.sqlite_utils()
    with tempfile.TemporaryDirectory() as top:
        os.chmod(top, 0o755)
        folder = Path(top) / "home"
        with Journal.open(folder / "journal.sqlite") as journal:
            journal.add_unit(Unit(name="shoebox-3"))
        folder.chmod(0o555)
        try:
            there = _as_nobody(lambda: Journal.open(folder))
            missing = _as_nobody(lambda: Journal.open(folder / "deeper" / "journal.sqlite"))
            read = _as_nobody(lambda: [unit.name for unit in Journal.open(folder, read_only=True).units()])
            as_can = _as_nobody(lambda: _units_as_can(folder))
            refused = _as_nobody(lambda: _units_as_can(folder, write=True))
        finally:
            folder.chmod(0o755)
    for text in (there, missing):
        assert text.startswith("NotWritable") and "SUREFOOT_HOME" in text, text
    assert read == "['shoebox-3']"
    assert as_can == "['shoebox-3', 'only read']" and "reading only" in refused


def test_a_home_that_is_a_file_is_told(folder: Path) -> None:
    folder.write_text("in the way")
    with pytest.raises(JournalError, match="SUREFOOT_HOME"):
        Journal.open()


def test_one_journal_is_made_when_two_processes_make_it_at_once(folder: Path) -> None:
    code = "from surefoot.journal import Journal; Journal.open().close()"
    children = [subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE) for _ in range(3)]
    assert [(child.communicate()[1], child.returncode) for child in children] == [(b"", 0)] * 3
    with Journal.open() as journal:
        assert journal.faults() == []


def test_opening_imports_neither_pandas_nor_for_an_existing_file_sqlite_utils(folder: Path) -> None:
    code = (
        "import sys; from surefoot.journal import Journal; Journal.open().close();"
        "print([name for name in ('pandas', 'scipy', 'sqlite_utils') if sys.modules.get(name)])"
    )
    said = [subprocess.check_output([sys.executable, "-c", code], text=True) for _ in range(2)]
    assert said == ["['sqlite_utils']\n", "[]\n"]
