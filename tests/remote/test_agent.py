"""A machine at the other end of a line: an agent over a plain pipe, killed, frozen, gone and back."""

from __future__ import annotations

import io
import os
import signal
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from surefoot.errors import BadInput, MachineError
from surefoot.guide.bench import Bench
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.remote import line as line_module
from surefoot.guide.remote import wire
from surefoot.guide.remote.line import Line
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.remote.ssh import ssh_command, target_of
from surefoot.guide.remote.wire import LONGEST_LINE, error_in, numbers, of_line, plain
from surefoot.guide.session import Options, Session
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal.card_file import card_of_text, card_text
from surefoot.runs import Outcome, Run
from surefoot.units import Setting

OFF = Setting(values={"core": -10})
NO_WAIT = Settling(at_most_minutes=0)


def measuring(**more) -> Measuring:
    return Measuring(
        setting=OFF,
        load="turns",
        agreed=True,
        sample_seconds=0.1,
        heartbeat_seconds=0.5,
        settling=NO_WAIT,
        **{"minutes": 0.1, **more},
    )


def bench_of(journal, there, machine) -> Bench:
    bench = Bench(journal, there.unit, machine, Unattended())
    bench.make_exception(OFF, "the test's")
    return bench


def said(bench: Bench) -> str:
    return "\n".join(text for _, text in bench.voice.said)  # type: ignore[attr-defined]


def test_sensors_loads_and_hands_over_a_line(there):
    with there.machine() as machine:
        assert machine.boot_id() == "rehearsed: one"
        assert machine.identity() and machine.operating_system()
        assert machine.up_seconds() > 0 and machine.power_mode() in (None, str(machine.power_mode()))
        assert machine.sample() and list(machine.missing()) == machine.missing()
        hands = machine.hands(there.unit, None)
        assert hands.kind == "command" and hands.can_read_back
        assert hands.apply(there.unit, OFF) == OFF and there.offset() == -10
        assert hands.read_back(there.unit) == OFF
        with pytest.raises(BadInput, match="past the limit"):
            hands.apply(there.unit, Setting(values={"core": -65}))
        with pytest.raises(BadInput, match="above stock"):
            hands.apply(there.unit, Setting(values={"core": 5}))
        assert there.offset() == -10
        with pytest.raises(BadInput, match="no load 'none'"):
            machine.load("none", there.unit)
        session = machine.load("turns", there.unit).start(1)
        assert session.poll().state == "running"
        assert session.stop().state == "stopped"
        assert machine.ending("another", datetime.now(UTC) - timedelta(hours=1)).words
    assert there.offset() == 0, "the line ended in order"


def test_a_whole_run(there, journal):
    with there.machine() as machine:
        (run,) = measure(bench_of(journal, there, machine), measuring())
        assert run.outcome is Outcome.HELD and run.setting == OFF and there.offset() == 0
        assert journal.trace(run.id).seconds.size > 5


def judged(run: Run) -> str:
    """By what its end was told."""
    assert run.closing is not None
    return run.closing.judged_by


def during_the_run(there, journal, what: Callable[[], None]) -> threading.Thread:
    def wait_and_act() -> None:
        there.until_off_stock()
        time.sleep(0.7)
        what()

    thread = threading.Thread(target=wait_and_act, daemon=True)
    thread.start()
    return thread


def test_the_agent_is_killed_and_the_session_goes_on_by_itself(there, journal):
    with there.machine() as machine:
        bench = bench_of(journal, there, machine)
        took: list[float] = []

        def kill() -> None:
            os.kill(machine._line.hello.process, signal.SIGKILL)
            took.append(there.until_stock())

        thread = during_the_run(there, journal, kill)
        lost, held = measure(bench, measuring(repeats=2))
        thread.join()
        assert took[0] < 2.0
        assert lost.outcome is Outcome.VOID and held.outcome is Outcome.HELD
        assert lost.heartbeats >= 1 and "the same boot" in said(bench) and "guardian stepped in" in said(bench)
        assert there.offset() == 0


def test_a_machine_that_went_down_is_told_by_its_boot_and_its_power_is_switched(there, journal):
    with there.machine() as machine:
        bench = bench_of(journal, there, machine)

        def down() -> None:
            there.gone.touch()
            os.kill(machine._line.hello.process, signal.SIGKILL)

        during_the_run(there, journal, down)
        (run,) = measure(bench, measuring(repeats=2))
        assert run.outcome is Outcome.HANG and "switched off and on" in judged(run)
        assert "switching its power" in said(bench) and machine.boot_id() == "rehearsed: two"
        assert there.offset() == 0


def test_a_machine_that_restarts_by_itself_was_reset(there, journal):
    with there.machine() as machine:

        def reset() -> None:
            there.boot.write_text("three")
            os.kill(machine._line.hello.process, signal.SIGKILL)

        during_the_run(there, journal, reset)
        (run,) = measure(bench_of(journal, there, machine), measuring(repeats=2))
        assert run.outcome is Outcome.RESET


class OnceOnly(Unattended):
    """Lets the first run be made and ends the session at the next."""

    proposals = 0

    def choose(self, question, choices, default):
        if question != "Make this run?":
            return default
        self.proposals += 1
        return "go" if self.proposals == 1 else "stop"


def test_a_session_goes_on_by_itself_after_a_reset(there, journal):
    with there.machine() as machine:
        voice = OnceOnly()

        def kill_soon() -> None:
            while voice.proposals == 0:
                time.sleep(0.05)
            time.sleep(3)
            there.boot.write_text("four")
            os.kill(machine._line.hello.process, signal.SIGKILL)

        threading.Thread(target=kill_soon, daemon=True).start()
        bench = Bench(journal, there.unit, machine, voice)
        options = Options(agreed=True, load="turns", sample_seconds=0.1, heartbeat_seconds=0.5, settling=NO_WAIT)
        end = Session(bench, options).run()
        (run,) = journal.runs(there.unit.name)
        assert run.outcome is Outcome.RESET and end.why in ("stopped", "faulty")
        assert "another boot" in said(bench) and end.at_stock


def test_an_agent_that_freezes_is_known_soon_and_is_a_hang(there, journal, monkeypatch):
    assert wire.SILENT_SECONDS < 10
    monkeypatch.setattr(line_module, "SILENT_SECONDS", 2.5)
    with there.relayed() as machine:
        bench = bench_of(journal, there, machine)
        during_the_run(there, journal, lambda: os.kill(machine._line.hello.process, signal.SIGSTOP))
        (run,) = measure(bench, measuring(minutes=1, repeats=2))
        assert run.outcome is Outcome.HANG and "froze" in judged(run)
        assert run.minutes < 0.2 and there.offset() == 0


def test_a_bench_that_falls_silent_leaves_the_unit_at_stock(there, monkeypatch):
    monkeypatch.setattr(Line, "_beat", lambda _: None)
    with there.machine() as machine:
        machine.hands(there.unit, None).apply(there.unit, OFF)
        assert there.until_stock(25) > 5


def test_nobody_there_is_said_with_what_ssh_said(there):
    with pytest.raises(LineLost, match=r"no agent answered \(Permission denied"):
        Line(["sh", "-c", "echo 'Permission denied (publickey).' >&2; exit 255"], "far")
    with pytest.raises(MachineError, match="another version"):
        Line(["sh", "-c", """echo welcome; echo '{"hello":"surefoot-agent","version":99}'; sleep 5"""], "far")


@pytest.mark.parametrize(
    "text", ["-oProxyCommand=x", "-p", "a@-b", "a b", "a@b;x", "", "a@b\n", "@b", "a@", "$(x)", "a@b@c", "a/b"]
)
def test_nothing_but_a_machine_is_handed_to_ssh(text):
    with pytest.raises(BadInput):
        target_of(text)


def test_the_command_line_of_ssh():
    command = ssh_command("ann@bench-3.lan", ("/opt/my tools/surefoot", "agent"))
    assert command[-3:] == ["--", "ann@bench-3.lan", "'/opt/my tools/surefoot' agent"]
    assert "BatchMode=yes" in command and "ForwardAgent=no" in command
    with pytest.raises(BadInput):
        ssh_command("bench-3", ("-x",))


def test_what_comes_over_the_line_is_not_believed_blindly():
    assert of_line(b"Last login: today\n") is None and of_line(b"[1]\n") is None
    assert numbers({"a": 1, "b": "x", "c": float("nan"), "d": True}) == {"a": 1.0}
    assert "\x1b" not in plain("\x1b[2Jgone")
    assert isinstance(error_in({"kind": "bad-input", "what": "no"}), BadInput)
    assert isinstance(error_in("?"), MachineError)
    assert io.BytesIO(b"x" * (LONGEST_LINE + 1)).readline(LONGEST_LINE) != b""


def test_the_card_keeps_what_reaches_the_unit(there):
    text = card_text(there.unit)
    assert "[remote]" in text and card_of_text(text, "far", where="again") == there.unit
