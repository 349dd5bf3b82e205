"""What else goes over a line: a setting that is to stay, a log there, documented hands with their helper, a trial."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from pathlib import Path

import pytest

from surefoot.errors import MachineError
from surefoot.guide.apply import apply_setting
from surefoot.guide.bench import Bench
from surefoot.guide.remote.machine import RemoteMachine
from surefoot.guide.sensors_from import follow_there
from surefoot.guide.settle import Settling
from surefoot.guide.trial import Trialling, go_on
from surefoot.guide.trial_planning import begin_trial, plan_trial
from surefoot.guide.trial_state import states
from surefoot.guide.trial_words import arms_from
from surefoot.guide.voice import Unattended
from surefoot.rig.guardian import WithGuardian
from surefoot.runs import Outcome
from surefoot.units import HandsCard, Knob, Setting, Unit

sys.path.insert(0, str(Path(__file__).parent.parent / "elevated"))

from elevated_tree import Unit_

OFF = Setting(values={"core": -10})
AGENT = Path(__file__).with_name("agent_on_tree.py")
QUICK = Trialling(agreed=True, sample_seconds=0.1, heartbeat_seconds=0.5, settling=Settling(at_most_minutes=0))


def bench_of(journal, there, machine, unit: Unit | None = None) -> Bench:
    return Bench(journal, unit or there.unit, machine, Unattended())


def test_a_setting_that_is_to_stay_outlives_the_line(there, journal):
    with there.machine() as machine:
        bench = bench_of(journal, there, machine)
        bench.make_exception(OFF, "the test's")
        assert isinstance(bench.hands, WithGuardian)
        apply_setting(bench, OFF)
        assert bench.left_applied == OFF
    time.sleep(1.5)
    assert there.offset() == -10
    with there.machine() as machine:
        bench_of(journal, there, machine).apply(Setting())
    assert there.offset() == 0


def test_a_log_there_is_followed_and_again_after_the_line_was_lost(there, journal, tmp_path):
    log = tmp_path / "there.csv"
    log.write_text("time [s];CPU package temperature [°C];CPU power [W]\n0;51,5;20,5\n1;52,5;21,5\n", encoding="utf-8")
    with there.machine() as machine:
        assert "cpu.power" not in machine.sample()
        voice = Unattended()
        follow_there(journal, machine, str(log), voice)
        assert any("Sensors from there.csv: " in text for _, text in voice.said)
        assert machine.sample()["cpu.temperature"] == 52.5
        with log.open("a") as more:
            more.write("2;61,5;24,5\n")
        assert machine.sample()["cpu.temperature"] == 61.5 and machine.sample()["cpu.power"] == 24.5
        os.kill(machine._line.hello.process, signal.SIGKILL)
        said: list[str] = []
        machine.come_back(said.append)
        assert machine.sample()["cpu.temperature"] == 61.5
        with pytest.raises(MachineError, match="gone"):
            follow_there(journal, machine, str(tmp_path / "gone.csv"), voice)


def test_documented_hands_behind_a_helper_there(tmp_path, journal, monkeypatch):
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "there"))
    made = Unit_(tmp_path)
    unit = Unit(
        name="far-e",
        knobs=(Knob("pkg", "cpu", "W", "down", 1, 15),),
        hands=HandsCard(kind="documented", doors={"pkg": "powercap:long-term"}, elevate="sudo"),
    )
    journal.add_unit(unit)
    off = Setting(values={"pkg": -6})
    with RemoteMachine([sys.executable, str(AGENT), str(made.tree.root), *made.helper], "far-e") as machine:
        bench = Bench(journal, unit, machine, Unattended())
        bench.make_exception(off, "the test's")
        assert bench.apply(off) == off and made.watts() == 31.0
        assert [entry.values for entry in journal.found_values(unit.name)] == [{"powercap:long-term": 37.0}]
        os.kill(machine._line.hello.process, signal.SIGKILL)
        until = time.monotonic() + 2
        while made.watts() != 37.0 and time.monotonic() < until:
            time.sleep(0.02)
        assert made.watts() == 37.0, "its helper, once the agent was killed"


@pytest.mark.long
def test_a_trial_goes_on_by_itself_after_the_line_was_lost(there, journal):
    unit = there.unit
    with there.machine() as machine:
        bench = bench_of(journal, there, machine)
        for value in (0.0, -5.0):
            from guide_bench import held_before

            held_before(journal, unit, -value)
        plan = plan_trial(
            journal, unit, arms_from(journal, unit, ["stock", "core=-5"]), load="turns", seed=3, minutes=0.1, repeats=2
        ).plan
        number = begin_trial(journal, unit, plan)

        def kill() -> None:
            there.until_off_stock()
            time.sleep(0.7)
            os.kill(machine._line.hello.process, signal.SIGKILL)

        threading.Thread(target=kill, daemon=True).start()
        state = go_on(bench, number, QUICK)
        assert state.next is None and state.blocks_done == 2
        outcomes = [run.outcome for run in journal.runs(unit.name) if run.plan.place is not None]
        assert outcomes.count(Outcome.VOID) == 1 and outcomes.count(Outcome.HELD) == 4
        assert states(journal, unit.name)[-1].ended and there.offset() == 0
