"""Traces thinned by somebody's word: what stays was measured, a record stays, and nothing else changes."""

from __future__ import annotations

import json
import sqlite3
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app
from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.journal.inspection import inspect_journal
from surefoot.journal.rescue import rescue
from surefoot.journal.thinning import kept, thinned
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.search import Goal, assess
from surefoot.units import Knob, Setting, Unit

UNIT = Unit(name="box", knobs=(Knob("core", "cpu", "mV", "down", 5, 250),))
BEGAN = datetime(2026, 5, 4, 9, tzinfo=UTC)


def samples(start: float, count: int, seed: int = 1) -> Trace:
    seconds = start + np.arange(float(count))
    noise = np.random.default_rng(seed).normal(0, 2, count)
    return Trace(seconds, {"cpu.temperature": np.round(60 + noise, 1), "cpu.power": np.full(count, 20.0)}, BEGAN)


@pytest.fixture
def journal(tmp_path, monkeypatch):
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    (tmp_path / "home").mkdir()
    with Journal.open() as made:
        made.add_unit(UNIT)
        for number, depth in enumerate((0, 10, 20)):
            plan = RunPlan(unit_name="box", setting=Setting(values={"core": -float(depth)}), load="cpu",
                           planned_minutes=10, knob="core")  # fmt: skip
            run = made.open_run(plan, at=BEGAN + timedelta(hours=number))
            for beat in range(6):
                made.heartbeat(run, beat * 0.5, samples(beat * 100.0, 100, seed=10 * number + beat))
            made.close_run(run, Closing(outcome=Outcome.HELD, minutes=10, judged_by="test"))
        made.add_trace(1, Trace(np.arange(600.0), {"gpu.temperature": 50 + np.arange(600.0) % 9}, BEGAN))
        yield made


def counted(journal: Journal) -> list[int]:
    return [len(journal.trace(run.id)) for run in journal.runs("box")]


def test_what_stays_was_measured_and_no_peak_is_lost():
    trace = samples(0, 5000)
    less = thinned(trace, 30)
    assert 5000 // 30 <= len(less) <= 5000 // 30 + 6
    at = np.searchsorted(trace.seconds, less.seconds)
    for name, values in trace.channels.items():
        assert np.array_equal(values[at], less.channels[name])
        assert (np.max(less.channels[name]), np.min(less.channels[name])) == (np.max(values), np.min(values))
    assert np.max(np.diff(less.seconds)) <= 30 and less.seconds[-1] == trace.seconds[-1]


def test_nothing_measured_and_nothing_at_all():
    nothing = Trace(np.arange(10.0), {"cpu.temperature": np.full(10, np.nan)})
    assert kept(nothing, 5).tolist() == [True, *[False] * 4, True, *[False] * 3, True]
    assert len(thinned(Trace(np.zeros(0), {}), 5)) == 0


def test_runs_and_what_is_known_stay(journal):
    runs, said = journal.runs("box"), assess(UNIT, journal.runs("box"), Goal()).claim
    before = journal.trace(1)
    made = journal.thin_trace(1, 20, who="ann")
    assert made is not None and made.samples_before == 1200 and 55 < made.samples_after < 80
    assert journal.runs("box") == runs and assess(UNIT, journal.runs("box"), Goal()).claim == said
    after = journal.trace(1)
    assert set(after.channels) == set(before.channels) and after.started_at == before.started_at
    for name, values in before.channels.items():
        assert np.nanmax(after.channels[name]) == np.nanmax(values), name
    assert journal.thinnings(1) == [made] and journal.thinnings(2) == []
    assert journal.thin_trace(1, 20, who="ann") is None, "it is thin already"
    assert journal.faults() == [] and inspect_journal(journal.path).well


def test_samples_are_never_taken_away_untold(journal):
    other = sqlite3.connect(journal.path)
    for statement in ("DELETE FROM trace_blocks", "DELETE FROM trace_blocks WHERE run_id = 2"):
        with pytest.raises(sqlite3.IntegrityError, match="journal thin"):
            other.execute(statement)
    other.close()
    journal.thin_trace(1, 20, who="ann")
    other = sqlite3.connect(journal.path)
    for statement in ("DELETE FROM trace_blocks WHERE run_id IN (1, 2)", "DELETE FROM thinnings"):
        with pytest.raises(sqlite3.IntegrityError):
            other.execute(statement)
    other.close()


def test_an_open_run_is_left_alone(journal):
    run = journal.open_run(RunPlan(unit_name="box", setting=Setting(), load="cpu", planned_minutes=10))
    journal.heartbeat(run, 1.0, samples(0, 100))
    with pytest.raises(BadInput, match="still open"):
        journal.thin_trace(run, 20, who="ann")
    assert len(journal.trace(run)) == 100


def test_a_step_that_fails_leaves_all_samples(journal, monkeypatch):
    def full(*_: object, **__: object) -> int:
        raise OSError("no room")

    before = counted(journal)
    with monkeypatch.context() as broken:
        broken.setattr(Journal, "_insert_block", full)
        with pytest.raises(OSError, match="no room"):
            journal.thin_trace(1, 20, who="ann")
    assert counted(journal) == before and journal.thinnings(1) == []


def test_a_bundle_from_before_brings_nothing_back_and_one_from_after_takes_nothing(journal, tmp_path):
    save_bundle(journal, "box", tmp_path / "before.bundle")
    journal.thin_trace(1, 20, who="ann")
    thin = counted(journal)
    load_bundle(journal, tmp_path / "before.bundle")
    assert counted(journal) == thin
    save_bundle(journal, "box", tmp_path / "after.bundle")
    with Journal.open(tmp_path / "whole.sqlite") as other:
        load_bundle(other, tmp_path / "before.bundle")
        whole = counted(other)
        load_bundle(other, tmp_path / "after.bundle")
        assert counted(other) == whole and whole[0] > thin[0]
    with Journal.open(tmp_path / "new.sqlite") as other:
        load_bundle(other, tmp_path / "after.bundle")
        assert counted(other) == thin
        (told,) = other.thinnings(other.runs("box")[0].id)
        assert told.samples_before == 1200 and told.who != "ann", "who it was is left out"
        at = sqlite3.connect(other.path)
        with pytest.raises(sqlite3.IntegrityError):
            at.execute("DELETE FROM trace_blocks WHERE run_id = 1")
        at.close()


def test_it_is_rescued_with_the_rest(journal, tmp_path):
    journal.thin_trace(1, 20, who="ann")
    done = rescue(journal.path, tmp_path / "new.sqlite")
    assert not done.lost
    with Journal.open(done.path) as new:
        assert counted(new) == counted(journal) and new.thinnings(1) == journal.thinnings(1)


def test_the_verb_says_what_would_go_and_does_nothing_unasked(journal):
    before = counted(journal)
    journal.close()
    done = CliRunner().invoke(app, ["journal", "thin", "box", "--every", "20"])
    assert isinstance(done.exception, BadInput) and "2,400 samples of 3 runs" in str(done.exception)
    with Journal.open() as again:
        assert counted(again) == before
    done = CliRunner().invoke(app, ["journal", "thin", "box", "--every", "20", "--yes", "--json"])
    told = json.loads(done.output)
    assert told["done"] and told["runs"] == [1, 2, 3] and told["samples_after"] < 250
    shown = CliRunner().invoke(app, ["trace", "show", "1"])
    assert "Thinned on" in shown.output and "one sample each 20 s" in shown.output
    done = CliRunner().invoke(app, ["journal", "thin", "box", "--every", "20", "--older", "100000"])
    assert done.exit_code == 0 and "No trace" in done.output
