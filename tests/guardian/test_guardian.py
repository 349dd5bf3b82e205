"""The guardian: whatever ends the process that set a unit up, the unit goes back to stock, once."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from surefoot.errors import MachineError
from surefoot.rig.guardian import GuardedHands, reports_since
from surefoot.rig.guardian.reports import GuardianReport, write_report
from surefoot.rig.hands import make_hands
from surefoot.units import HandsCard, Knob, Setting, Unit

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the stand-in for a machine is a shell script")
PARENT = Path(__file__).with_name("parent.py")


class StandIn:
    """A machine that is a file with its offset, and a list of everything that was ever set."""

    def __init__(self, folder: Path) -> None:
        self.value, self.asked, self.log = folder / "value", folder / "asked", folder / "guardian.jsonl"
        script = folder / "set.sh"
        script.write_text(
            f'echo "$1" >> "{self.asked}"\necho "$1" > "{self.value}.new"\nmv "{self.value}.new" "{self.value}"\n'
        )
        self.value.write_text("0\n")
        self.unit = Unit(
            name="stand-in",
            knobs=(Knob("core", "cpu", "mV", "down", 1, 60),),
            hands=HandsCard(kind="command", apply=("sh", str(script), "{core}"), read_back=("cat", str(self.value))),
        )
        self.card = folder / "unit.json"
        self.card.write_text(self.unit.model_dump_json())

    def offset(self) -> float:
        return float(self.value.read_text())

    def stock_times(self) -> int:
        return self.asked.read_text().split().count("0")

    def start(self, *more: str, **how: object) -> tuple[subprocess.Popen[str], int]:
        """The process that sets, and its guardian's number."""
        command = [sys.executable, str(PARENT), str(self.card), str(self.log), *more]
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, **how)  # type: ignore[call-overload]
        return process, int(process.stdout.readline())

    def until_stock(self, seconds: float = 30.0) -> float:
        began = time.monotonic()
        while time.monotonic() - began < seconds:
            if self.offset() == 0:
                return time.monotonic() - began
            time.sleep(0.02)
        raise AssertionError(f"still at {self.offset()} after {seconds} s")


@pytest.fixture
def machine(tmp_path: Path) -> StandIn:
    return StandIn(tmp_path)


def said(process: subprocess.Popen[str], word: str) -> None:
    assert process.stdout is not None
    assert process.stdout.readline().strip() == word


def gone(number: int, seconds: float = 20.0) -> bool:
    """Whether a process ends within a time; one that was waited for by nobody any more is the system's to clear."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        try:
            if Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z":
                return True
            os.kill(number, 0)
        except OSError:
            return True
        time.sleep(0.05)
    return False


def reports(machine: StandIn) -> list[GuardianReport]:
    return reports_since(machine.log, "stand-in", datetime.now(UTC) - timedelta(minutes=5))


def settle(machine: StandIn) -> None:
    """Until the guardian has written what it did."""
    for _ in range(100):
        if reports(machine):
            return
        time.sleep(0.05)


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGSEGV])
def test_killed_while_off_stock(machine, end):
    process, _guardian = machine.start("step")
    said(process, "off")
    assert machine.offset() == -2.0
    process.send_signal(end)
    process.wait()
    machine.until_stock()
    settle(machine)
    (report,) = reports(machine)
    assert report.at_stock and report.words == "put back to stock"
    assert machine.stock_times() == 1


def test_what_the_next_process_applies_is_not_taken_for_something_left_over(machine):
    process, _guardian = machine.start("step")
    said(process, "off")
    process.kill()
    process.wait()
    machine.until_stock()
    following, _guardian = machine.start("step")
    said(following, "off")
    assert reports(machine), "the next one is ready only when the former guardian is gone"
    time.sleep(1.5)
    assert machine.offset() == -2.0 and len(reports(machine)) == 1
    following.kill()
    following.wait()
    machine.until_stock()


def test_killed_at_stock_it_does_nothing(machine):
    process, guardian = machine.start("step")
    said(process, "off")
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()
    said(process, "stock")
    process.kill()
    process.wait()
    assert gone(guardian)
    assert machine.stock_times() == 1 and reports(machine) == []


def test_the_terminal_closes_with_its_whole_group(machine):
    # As a terminal does it: every process of the group is told, and the guardian has a session of its own.
    process, _guardian = machine.start("step", start_new_session=True)
    said(process, "off")
    os.killpg(process.pid, signal.SIGHUP)
    process.wait()
    machine.until_stock()


def test_the_system_shuts_down_and_asks_the_guardian_itself_to_end(machine):
    process, guardian = machine.start("step")
    said(process, "off")
    os.kill(guardian, signal.SIGTERM)
    machine.until_stock()
    process.kill()
    process.wait()


def test_sent_away_in_order_it_leaves_the_setting(machine):
    with GuardedHands(make_hands(machine.unit), machine.log) as hands:
        hands.apply(machine.unit, Setting(values={"core": -7}))
        number = hands.guardian
        assert number is not None
    assert gone(number)
    assert machine.offset() == -7.0 and reports(machine) == []


def test_hands_that_never_leave_stock_need_no_guardian(machine):
    hands = GuardedHands(make_hands(machine.unit), machine.log)
    hands.apply(machine.unit, Setting())
    assert hands.guardian is None


def test_nothing_is_applied_without_a_guardian(machine, monkeypatch):
    monkeypatch.setattr("surefoot.rig.guardian.guarded.sys.executable", str(machine.card))
    hands = GuardedHands(make_hands(machine.unit), machine.log)
    with pytest.raises(MachineError, match="guardian"):
        hands.apply(machine.unit, Setting(values={"core": -7}))
    assert machine.offset() == 0.0


def test_a_stock_that_did_not_take_keeps_it_at_its_post(machine):
    hands = GuardedHands(make_hands(machine.unit), machine.log)
    hands.apply(machine.unit, Setting(values={"core": -7}))
    real = hands._hands
    stuck = Setting(values={"core": -7})

    class Stuck:
        kind, can_read_back = "command", True

        def apply(self, unit, setting):
            return stuck

        def read_back(self, unit):
            return stuck

    hands._hands = Stuck()
    hands.apply(machine.unit, Setting())
    hands._hands = real
    process = hands._process
    assert process is not None and process.stdin is not None
    process.stdin.close()
    machine.until_stock()
    process.wait()


def test_something_that_sets_it_again_is_put_right_once_more(machine):
    process, _guardian = machine.start("step")
    said(process, "off")
    process.kill()
    process.wait()
    machine.until_stock()
    time.sleep(0.3)
    # The dead process's own command, which was still under way.
    machine.value.write_text("-2\n")
    time.sleep(1.2)
    machine.until_stock()
    settle(machine)
    assert "once more" in reports(machine)[0].words


def test_a_stock_that_fails_is_said(machine, tmp_path):
    process, _guardian = machine.start("step")
    said(process, "off")
    (tmp_path / "set.sh").write_text("exit 5\n")
    process.kill()
    process.wait()
    settle(machine)
    (report,) = reports(machine)
    assert not report.at_stock and "exit code 5" in report.words


def test_reports_pass_over_what_is_torn_or_of_another_unit(tmp_path):
    file = tmp_path / "guardian.jsonl"
    now = datetime.now(UTC)
    for name in ("one", "two"):
        write_report(file, GuardianReport(now, name, True, "put back to stock"))
    with file.open("a") as more:
        more.write('[1]\n{"at": "soon"}\n{"unit": "one", "at": "20')
    assert [report.unit_name for report in reports_since(file, "one", now)] == ["one"]
    assert reports_since(file, "one", now + timedelta(seconds=1)) == []
    assert reports_since(tmp_path / "none", "one", now) == []


def kills(machine: StandIn, times: int, seed: int) -> None:
    rng = random.Random(seed)
    for _ in range(times):
        process, guardian = machine.start()
        said(process, "off")
        # Read on, so that it does not stop at a full pipe while it is to be killed at any moment.
        deadline = time.monotonic() + rng.uniform(0, 0.25)
        while time.monotonic() < deadline:
            process.stdout.readline()  # type: ignore[union-attr]
        process.kill()
        process.wait()
        assert gone(guardian)
        assert machine.offset() == 0.0


def test_kills_at_random_moments(machine):
    kills(machine, 3, seed=1)


@pytest.mark.long
def test_a_hundred_kills_at_random_moments(machine):
    kills(machine, 100, seed=2)
