"""`surefoot live --on`: ordinary use of another machine, watched over OpenSSH's own server on loopback."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest
from test_over_sshd import SSHD, sshd

from confirming import confirm_in
from surefoot.journal import Journal
from surefoot.runs import USE, Closing, Outcome, Run, RunPlan
from surefoot.units import GoalCard

__all__ = ["sshd"]
pytestmark = pytest.mark.skipif(os.name != "posix" or not Path(SSHD).exists(), reason="no OpenSSH server here")
BENCH = ((0, 10, True), (20, 10, True), (30, 20, True), (35, 20, True), (50, 1.5, False), (30, 60, True))


@pytest.fixture
def home(there, tmp_path):
    folder = tmp_path / "bench"
    folder.mkdir()
    unit = there.unit.model_copy(update={"goal": GoalCard(mttf_hours=0.5)})
    with Journal.open(folder / "journal.sqlite") as journal:
        journal.add_unit(unit)
        for depth, minutes, held in BENCH:
            plan = RunPlan(unit_name="far", setting=unit.setting_at({"core": depth}), load="turns",
                           planned_minutes=minutes, knob="core", source="hand")  # fmt: skip
            outcome = Outcome.HELD if held else Outcome.RESET
            journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="test"))
    confirm_in(folder, unit)
    return folder


def live(home: Path, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "surefoot", "live", "far", "--on", "unit-there", "--unattended", "--i-agree"]
    environment = {**os.environ, "SUREFOOT_HOME": str(home)}
    return subprocess.Popen(
        [*command, *more], env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def stretches(home: Path) -> list[Run]:
    with Journal.open(home / "journal.sqlite", read_only=True) as journal:
        return [run for run in journal.runs("far") if run.plan.purpose == USE]


def until(condition: Callable[[], bool], process: subprocess.Popen[str], seconds: float = 90) -> None:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return
        assert process.poll() is None, process.communicate()
        time.sleep(0.2)
    process.kill()
    raise AssertionError(f"it did not come to that: {process.communicate()}")


@pytest.mark.long
def test_use_of_another_machine_is_watched_and_its_setting_stays(home, there, sshd):
    process = live(home, "--json")
    until(lambda: there.offset() < 0 and any(run.heartbeats for run in stretches(home)), process)
    held = there.offset()
    process.send_signal(signal.SIGTERM)
    said, wrong = process.communicate(timeout=60)
    assert process.returncode == 0, wrong
    assert json.loads(said)["setting"]["values"]["core"] == held
    (run,) = stretches(home)
    assert run.outcome is Outcome.HELD and run.minutes > 0 and run.setting.value("core") == held
    time.sleep(1.5)
    assert there.offset() == held, "the certified setting stays when the watching ends in order"


@pytest.mark.long
def test_an_agent_that_is_killed_costs_a_stretch_and_no_more(home, there, sshd):
    process = live(home, "--to-stock")
    until(lambda: there.offset() < 0 and any(run.heartbeats for run in stretches(home)), process)
    for one in psutil.process_iter(["cmdline", "environ"]):
        words = " ".join(one.info["cmdline"] or [])
        if words.endswith("-m surefoot agent") and str(there.folder) in str(one.info["environ"]):
            one.kill()
    until(lambda: there.offset() == 0, process, 15)
    until(lambda: len(stretches(home)) == 2 and there.offset() < 0, process)
    process.send_signal(signal.SIGTERM)
    said, wrong = process.communicate(timeout=60)
    assert process.returncode == 0 and "Traceback" not in wrong, (said, wrong)
    first, second = stretches(home)
    assert first.closing is not None and first.minutes == first.last_minutes > 0
    assert first.outcome in (Outcome.HELD, Outcome.VOID), "the same boot: nothing failed"
    assert second.outcome is Outcome.HELD and there.offset() == 0
