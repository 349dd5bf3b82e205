"""Random sequences of steps against a model of what the journal must then hold, reopened in between."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from how_many import examples
from surefoot.errors import BadInput, JournalError, SurefootError
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Knob, Setting, Unit

NAMES = ("shoebox-3", "kiln-room")
units = st.sampled_from(NAMES)
offsets = st.integers(-300, 20)
closings = st.builds(
    Closing,
    outcome=st.sampled_from(list(Outcome)),
    minutes=st.floats(0, 1e4),
    judged_by=st.text(max_size=5),
    timed=st.booleans(),
    detail=st.dictionaries(st.text(max_size=3), st.integers() | st.text(max_size=3), max_size=2),
)


class JournalLife(RuleBasedStateMachine):
    """The model: for each run its unit, its setting, the heartbeats and samples so far, and the closing."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.journal = Journal.open(self.folder / "journal.sqlite")
        for name in NAMES:
            self.journal.add_unit(Unit(name=name, knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),)))
        self.runs: dict[int, dict] = {}
        self.retired: set[str] = set()

    def teardown(self) -> None:
        if hasattr(self, "journal"):
            assert self.journal.faults() == []
            self.journal.close()
            shutil.rmtree(self.folder)

    def _open(self, unit: str) -> list[int]:
        return [number for number, run in self.runs.items() if run["unit"] == unit and run["closing"] is None]

    @rule(unit=units, offset=offsets)
    def open_run(self, unit: str, offset: int) -> None:
        plan = RunPlan(unit_name=unit, setting=Setting(values={"cpu-core": offset}), load="cpu", planned_minutes=1)
        allowed = unit not in self.retired and not self._open(unit) and -250 <= offset <= 0
        if not allowed:
            with pytest.raises(SurefootError):
                self.journal.open_run(plan)
            return
        number = self.journal.open_run(plan)
        assert number not in self.runs
        self.runs[number] = {"unit": unit, "plan": plan, "beats": [], "seconds": [], "closing": None, "applied": None}

    @rule(unit=units, offset=offsets, closing=closings)
    def log_run(self, unit: str, offset: int, closing: Closing) -> None:
        plan = RunPlan(unit_name=unit, setting=Setting(values={"cpu-core": offset}), load="cpu", planned_minutes=1)
        if unit in self.retired or offset > 0:
            with pytest.raises(BadInput):
                self.journal.log_run(plan, closing)
            return
        number = self.journal.log_run(plan, closing)
        self.runs[number] = {
            "unit": unit,
            "plan": plan,
            "beats": [],
            "seconds": [],
            "closing": closing,
            "applied": None,
        }

    @precondition(lambda self: self.runs)
    @rule(data=st.data(), minutes=st.floats(-1, 100), samples=st.integers(0, 3))
    def heartbeat(self, data: st.DataObject, minutes: float, samples: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.runs)))
        run = self.runs[number]
        seconds = 60 * max(minutes, 0) + np.arange(samples, dtype=np.float64)
        trace = Trace(seconds, {"cpu.power": seconds / 8}) if samples else None
        if minutes < 0 or run["closing"] is not None or (run["beats"] and minutes < run["beats"][-1]):
            with pytest.raises(SurefootError):
                self.journal.heartbeat(number, minutes, trace)
            return
        self.journal.heartbeat(number, minutes, trace)
        run["beats"].append(minutes)
        run["seconds"].extend(seconds)

    @precondition(lambda self: self.runs)
    @rule(data=st.data(), offset=offsets)
    def applied(self, data: st.DataObject, offset: int) -> None:
        number = data.draw(st.sampled_from(sorted(self.runs)))
        setting = Setting(values={"cpu-core": offset})
        if self.runs[number]["closing"] is not None:
            with pytest.raises(JournalError):
                self.journal.applied(number, setting)
            return
        self.journal.applied(number, setting)
        self.runs[number]["applied"] = setting

    @precondition(lambda self: self.runs)
    @rule(data=st.data(), closing=closings)
    def close_run(self, data: st.DataObject, closing: Closing) -> None:
        number = data.draw(st.sampled_from(sorted(self.runs)))
        if self.runs[number]["closing"] is not None:
            with pytest.raises(JournalError):
                self.journal.close_run(number, closing)
            return
        self.journal.close_run(number, closing)
        self.runs[number]["closing"] = closing

    @rule(unit=units)
    def retire_or_restore(self, unit: str) -> None:
        if unit in self.retired:
            self.journal.restore_unit(unit)
            self.retired.remove(unit)
        elif self._open(unit):
            with pytest.raises(JournalError):
                self.journal.retire_unit(unit)
        else:
            self.journal.retire_unit(unit)
            self.retired.add(unit)

    @rule()
    def reopen(self) -> None:
        path = self.journal.path
        self.journal.close()
        self.journal = Journal.open(path)

    @invariant()
    def holds_what_the_model_holds(self) -> None:
        if not hasattr(self, "journal"):
            return
        assert {unit.name for unit in self.journal.units()} == set(NAMES) - self.retired
        for name in NAMES:
            found = {run.id: run for run in self.journal.runs(name)}
            assert set(found) == {number for number, run in self.runs.items() if run["unit"] == name}
            for number, run in found.items():
                model = self.runs[number]
                assert (run.plan, run.applied, run.closing) == (model["plan"], model["applied"], model["closing"])
                assert (run.heartbeats, run.last_minutes) == (len(model["beats"]), max(model["beats"], default=0))
            assert [run.id for run in self.journal.open_runs(name)] == self._open(name)

    @precondition(lambda self: self.runs)
    @rule(data=st.data())
    def trace(self, data: st.DataObject) -> None:
        number = data.draw(st.sampled_from(sorted(self.runs)))
        trace = self.journal.trace(number)
        wanted = np.sort(np.array(self.runs[number]["seconds"], dtype=float))
        assert np.allclose(trace.seconds, wanted, rtol=0, atol=1e-6)
        assert self.journal.has_trace(number) == bool(wanted.size)
        if wanted.size:
            assert np.allclose(np.sort(trace.channels["cpu.power"]), np.sort(wanted / 8), rtol=0, atol=6e-4)


TestJournalLife = JournalLife.TestCase
TestJournalLife.settings = settings(max_examples=examples(25), stateful_step_count=25, deadline=None)
