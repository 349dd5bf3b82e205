"""A unit goes into a bundle and comes out of it, whole and unchanged, or is refused with a reason."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput, JournalError, SurefootError
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.runs import Closing, Outcome, Reading, RunPlan, Score, Trace
from surefoot.units import Setting, Unit

NAME = "shoebox-3"
AT = datetime(2031, 1, 2, 3, 4, 5, 678, tzinfo=UTC)


@pytest.fixture
def full(journal: Journal) -> Journal:
    """A journal with two units, their records in turns, so that no id of one is that of a fresh journal."""
    journal.add_unit(Unit(name="other", knobs=journal.unit(NAME).knobs))
    for number in range(3):
        for unit in ("other", NAME):
            run_id = journal.open_run(
                RunPlan(
                    unit_name=unit, setting=Setting(values={"cpu-core": -10 * number}), load="cpu", planned_minutes=5
                ),
                at=AT + timedelta(hours=number),
            )
            journal.applied(run_id, Setting(values={"cpu-core": -10 * number}))
            for beat in range(3):
                seconds = beat * 10 + np.arange(10.0)
                journal.heartbeat(run_id, beat, Trace(seconds, {"cpu.power": seconds / 8 + number}, AT))
            journal.add_trace(run_id, Trace(np.arange(9000.0), {"gpu.power": np.arange(9000.0) / 8}, AT))
            journal.close_run(run_id, Closing(outcome=Outcome.HELD, minutes=5, judged_by="held", detail={"n": number}))
            journal.add_score(unit, Score(name="points", value=100 + number), run_id=run_id, at=AT)
            journal.add_reading(unit, Reading(kind="sound", value=40, at=AT), configuration="k")
            journal.add_forecast(unit, {"watts": number}, run_id=run_id)
        journal.revise_unit(journal.unit(NAME).model_copy(update={"firmware": f"1.{number}"}))
    journal.name_configuration(NAME, "k", "as it came", 0)
    journal.give_consent(NAME, "cautions", at=AT)
    return journal


def told(journal: Journal, unit: str) -> dict:
    """Everything the journal says of a unit, without ids and without its name."""
    runs = journal.runs(unit)
    order: dict[int | None, int] = {run.id: place for place, run in enumerate(runs)}
    consent = journal.consent(unit)
    return {
        "card": journal.unit(unit).model_dump(exclude={"name"}),
        "history": [
            (entry.at, entry.event, entry.unit and entry.unit.model_dump(exclude={"name"}))
            for entry in journal.card_history(unit)
        ],
        "consent": consent and (consent.text, consent.at),
        "runs": [
            (
                *(run.opened_at, run.closed_at, run.plan.model_dump(exclude={"unit_name"}), run.applied, run.closing),
                *(run.heartbeats, run.last_minutes, journal.card_of_run(run.id).firmware),
            )
            for run in runs
        ],
        "traces": [
            (trace.seconds.tolist(), {name: values.tolist() for name, values in sorted(trace.channels.items())})
            for trace in (journal.trace(run.id).between(0, 40) for run in runs)
        ],
        "lengths": [len(journal.trace(run.id)) for run in runs],
        "scores": [(e.score, e.at, order.get(e.run_id)) for e in journal.scores(unit)],
        "readings": [(e.reading, e.at, e.configuration) for e in journal.readings(unit)],
        "forecasts": [(e.forecast, e.at, order.get(e.run_id)) for e in journal.forecasts(unit)],
        "names": journal.configuration_names(unit),
    }


def test_a_unit_comes_back_whole(full: Journal, tmp_path: Path) -> None:
    file = tmp_path / "shoebox.surefoot"
    done = save_bundle(full, NAME, file)
    assert (done.unit_name, done.runs, done.bytes) == (NAME, 3, file.stat().st_size)
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        second.add_unit(Unit(name="was here before", knobs=full.unit(NAME).knobs))
        second.log_run(
            RunPlan(unit_name="was here before", setting=Setting(), load="cpu", planned_minutes=1),
            Closing(outcome=Outcome.HELD, minutes=1, judged_by="x"),
        )
        loaded = load_bundle(second, file)
        assert (loaded.unit_name, loaded.runs) == (NAME, 3)
        assert repr(told(second, NAME)) == repr(told(full, NAME))
        assert second.faults() == [] and len(second.runs("was here before")) == 1
        # It goes on living there.
        run_id = second.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1))
        second.close_run(run_id, Closing(outcome=Outcome.VOID, minutes=0, judged_by="x"))


def test_a_bundle_is_a_journal_of_one_unit_in_one_file(full: Journal, tmp_path: Path) -> None:
    file = tmp_path / "b.surefoot"
    save_bundle(full, NAME, file)
    assert os.listdir(tmp_path / "home") and sorted(p.name for p in tmp_path.iterdir()) == ["b.surefoot", "home"]
    with Journal.open(file, read_only=True) as bundle:
        assert [unit.name for unit in bundle.units(retired=True)] == [NAME]
        assert repr(told(bundle, NAME)) == repr(told(full, NAME))
    with sqlite3.connect(file) as client:
        assert client.execute("SELECT DISTINCT unit FROM runs").fetchall() == [(NAME,)]
        assert client.execute("SELECT count(*) FROM trace_blocks").fetchone() == (3 * (3 + 2),)


def test_under_another_name(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        second.add_unit(Unit(name=NAME.upper()))
        with pytest.raises(BadInput, match="--as"):
            load_bundle(second, tmp_path / "b")
        loaded = load_bundle(second, tmp_path / "b", name="guest")
        assert (loaded.unit_name, loaded.named) == ("guest", NAME)
        assert {entry.unit.name for entry in second.card_history("guest") if entry.unit} == {"guest"}
        assert repr(told(second, "guest")) == repr(told(full, NAME))


def counts(journal: Journal) -> dict[str, int]:
    tables = (
        "runs",
        "cards",
        "closings",
        "heartbeats",
        "trace_blocks",
        "scores",
        "readings",
        "forecasts",
        "corrections",
    )
    return {table: journal.store.rows(f"SELECT count(*) FROM {table}")[0][0] for table in tables}


def test_a_bundle_loaded_again_adds_nothing(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    before, said = counts(full), repr(told(full, NAME))
    for _ in range(2):
        done = load_bundle(full, tmp_path / "b")
        assert (done.merged, done.added, done.runs, done.conflicts) == (True, 0, 3, ())
    assert counts(full) == before and repr(told(full, NAME)) == said
    with pytest.raises(BadInput, match="very unit is in the journal as 'shoebox-3'"):
        load_bundle(full, tmp_path / "b", name="another")
    assert counts(full) == before


def test_a_newer_bundle_adds_its_new_runs_and_what_belongs_to_them(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "old", whole=True)
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        load_bundle(second, tmp_path / "old", name="guest")
        same = RunPlan(unit_name=NAME, setting=Setting(values={"cpu-core": -15}), load="cpu", planned_minutes=5)
        for _ in range(2):  # alike in everything: two runs all the same
            run_id = full.log_run(same, Closing(outcome=Outcome.HELD, minutes=5, judged_by="x"), at=AT)
        full.add_trace(run_id, Trace(np.arange(20.0), {"cpu.power": np.arange(20.0)}, AT))
        full.add_score(NAME, Score(name="points", value=7), run_id=run_id, at=AT)
        first = full.runs(NAME)[0].id
        full.amend_run(first, {"minutes": 4.0}, who="ada", why="misread")
        full.add_trace(first, Trace(np.arange(30.0), {"cpu.clock": np.arange(30.0)}, AT))
        full.revise_unit(full.unit(NAME).model_copy(update={"firmware": "9.9"}))
        save_bundle(full, NAME, tmp_path / "new", whole=True)
        done = load_bundle(second, tmp_path / "new")
        assert (done.unit_name, done.merged, done.added, done.runs, done.conflicts) == ("guest", True, 2, 5, ())
        assert repr(told(second, "guest")) == repr(told(full, NAME))
        assert load_bundle(second, tmp_path / "new").added == 0
        assert load_bundle(second, tmp_path / "old").added == 0
        assert second.faults() == [] and second.unit("guest").firmware == "9.9"


def test_what_both_sides_changed_is_told_and_the_newer_counts(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "old", whole=True)
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        load_bundle(second, tmp_path / "old")
        there, here = second.runs(NAME)[0].id, full.runs(NAME)[0].id
        second.amend_run(there, {"minutes": 2.0}, who="bo", why="first", at=AT)
        second.revise_unit(second.unit(NAME).model_copy(update={"firmware": "there"}))
        full.amend_run(here, {"minutes": 3.0}, who="ada", why="later", at=AT + timedelta(days=1))
        full.revise_unit(full.unit(NAME).model_copy(update={"firmware": "here"}))
        save_bundle(second, NAME, tmp_path / "theirs", whole=True)
    done = load_bundle(full, tmp_path / "theirs")
    assert len(done.conflicts) == 2 and "card" in done.conflicts[0] and "corrected on both" in done.conflicts[1]
    assert full.unit(NAME).firmware == "here" and full.run(here).minutes == 3.0
    assert "there" in [entry.unit.firmware for entry in full.card_history(NAME) if entry.unit]
    assert {one.who for one in full.run(here).corrections} == {"ada", "bo"}
    assert load_bundle(full, tmp_path / "theirs").added == 0


def test_an_open_run_does_not_travel(full: Journal, tmp_path: Path) -> None:
    full.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1))
    with pytest.raises(JournalError, match="still open"):
        save_bundle(full, NAME, tmp_path / "b")
    save_bundle(full, "other", tmp_path / "other")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["home", "other"]


def test_saving_does_not_write_over_anything_unasked(full: Journal, tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine")
    with pytest.raises(BadInput, match="--force"):
        save_bundle(full, NAME, tmp_path / "b")
    assert (tmp_path / "b").read_text() == "mine"
    save_bundle(full, NAME, tmp_path / "b", overwrite=True)
    with pytest.raises(BadInput, match="journal itself"):
        save_bundle(full, NAME, full.path, overwrite=True)
    with pytest.raises(BadInput, match="folder"):
        save_bundle(full, NAME, tmp_path)
    with pytest.raises(BadInput, match="no such folder"):
        save_bundle(full, NAME, tmp_path / "no" / "b")
    with pytest.raises(BadInput, match="no unit"):
        save_bundle(full, "nobody", tmp_path / "c")


def damage(content: bytes, at: int) -> bytes:
    return content[:at] + b"\xa5" * 512 + content[at + 512 :]


def test_what_is_not_a_whole_bundle_is_refused_unchanged(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    content = (tmp_path / "b").read_bytes()
    foreign = tmp_path / "foreign"
    with sqlite3.connect(foreign) as other:
        other.execute("CREATE TABLE x (y)")
    other.close()
    armed = tmp_path / "armed"
    armed.write_bytes(content)
    with sqlite3.connect(armed) as other:
        other.execute("CREATE TRIGGER mine AFTER INSERT ON units BEGIN SELECT load_extension('x'); END")
    other.close()
    cases = {
        "empty": b"",
        "text": b"no bundle" * 1000,
        "half": content[: len(content) // 2],
        "foreign": foreign.read_bytes(),
        "armed": armed.read_bytes(),
    }
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        for name, data in cases.items():
            file = tmp_path / name
            file.write_bytes(data)
            with pytest.raises(BadInput) as caught:
                load_bundle(second, file)
            assert str(file) in caught.value.message() and "surefoot-bundle-" not in caught.value.message(), name
            assert hashlib.sha256(file.read_bytes()).digest() == hashlib.sha256(data).digest()
        with pytest.raises(BadInput, match="holds 2"):
            load_bundle(second, full.path)
        with pytest.raises(BadInput, match="no such file"):
            load_bundle(second, tmp_path / "missing")
        with pytest.raises(BadInput, match="printable"):
            load_bundle(second, tmp_path / "b", name="two\nlines")
        assert second.units(retired=True) == []


def test_a_worn_bundle_is_refused_or_still_says_the_same(full: Journal, tmp_path: Path) -> None:
    """512 bytes overwritten in a page: told wherever it hit a record; where it hit unused space nothing is lost."""
    save_bundle(full, NAME, tmp_path / "b")
    content = (tmp_path / "b").read_bytes()
    wanted = repr(told(full, NAME))
    refused = 0
    pages = range(0, len(content) // 8192, 5)
    for page in pages:
        (tmp_path / "worn").write_bytes(damage(content, 8192 * page + 7000))
        with Journal.open(tmp_path / f"for {page}" / "journal.sqlite") as second:
            try:
                load_bundle(second, tmp_path / "worn")
            except BadInput:
                refused += 1
                assert second.units(retired=True) == []
            else:
                assert repr(told(second, NAME)) == wanted
    assert refused > len(pages) / 3


def test_a_bundle_with_one_number_changed_is_refused(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    with sqlite3.connect(tmp_path / "b") as other:
        trigger = other.execute("SELECT sql FROM sqlite_master WHERE name = 'closings_no_update'").fetchone()[0]
        other.execute("DROP TRIGGER closings_no_update")
        other.execute("UPDATE closings SET minutes = minutes + 1 WHERE run_id = (SELECT min(run_id) FROM closings)")
        other.execute(trigger)
    other.close()
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        with pytest.raises(BadInput, match="sealed"):
            load_bundle(second, tmp_path / "b")
        assert second.units(retired=True) == []


def test_a_journal_saved_by_hand_is_a_bundle_too_when_it_holds_one_unit(journal: Journal, tmp_path: Path) -> None:
    journal.log_run(
        RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1),
        Closing(outcome=Outcome.HELD, minutes=1, judged_by="x"),
    )
    journal.close()
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        assert load_bundle(second, journal.path).runs == 1


def test_a_bundle_can_be_bundled_again(full: Journal, tmp_path: Path) -> None:
    save_bundle(full, NAME, tmp_path / "b")
    with Journal.open(tmp_path / "second" / "journal.sqlite") as second:
        load_bundle(second, tmp_path / "b")
        save_bundle(second, NAME, tmp_path / "c")
    with Journal.open(tmp_path / "third" / "journal.sqlite") as third:
        load_bundle(third, tmp_path / "c", name="twice")
        assert repr(told(third, "twice")) == repr(told(full, NAME))


def test_the_command_line(full: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def surefoot(*arguments: str) -> str:
        result = CliRunner().invoke(app, list(arguments))
        if isinstance(result.exception, SurefootError):
            return result.exception.message()
        assert result.exit_code == 0, result.output
        return result.stdout

    file = str(tmp_path / "b.surefoot")
    assert "3 runs" in surefoot("bundle", "save", NAME, file)
    assert "--force" in surefoot("bundle", "save", NAME, file)
    assert json.loads(surefoot("bundle", "save", NAME, file, "--force", "--json"))["runs"] == 3
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "second"))
    assert "with 3 runs" in surefoot("bundle", "load", file, "--as", "guest")
    assert "nothing new among 3 runs" in surefoot("bundle", "load", file)
    assert len(json.loads(surefoot("runs", "guest", "--json"))) == 3
