"""A load that is a command of the user's, with real processes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import time

import pytest

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.command import CommandLoad
from surefoot.runs import Outcome
from surefoot.units import LoadCard

posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals and process groups")


def card(code: str, **more) -> LoadCard:
    return LoadCard(name="own", command=(sys.executable, "-c", textwrap.dedent(code)), exercises=("gpu",), **more)


def test_a_command_that_ends_early_is_run_again_till_the_minutes_are_over(finish):
    load = CommandLoad(card("print('right')"))
    assert load.exercises() == ("gpu",)
    state = finish(load.start(2.5 / 60))
    assert (state.state, state.outcome) == ("done", None)
    assert state.detail["passes"] >= 2
    assert len(state.detail["pass_seconds"]) == state.detail["passes"]
    assert "right" in state.detail["output_tail"]
    assert state.progress == pytest.approx(2.5 / 60)


def test_an_exit_code_that_is_not_allowed_is_a_failure_with_the_last_output(finish):
    state = finish(CommandLoad(card("print('block 7 differs'); raise SystemExit(5)")).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert "exit code 5" in state.message
    assert "block 7 differs" in state.detail["output_tail"]


def test_other_exit_codes_can_be_allowed(finish):
    state = finish(CommandLoad(card("raise SystemExit(5)", ok_exit=(0, 5))).start(1 / 60))
    assert state.state == "done"
    assert state.detail["passes"] >= 1


@posix
@pytest.mark.parametrize(
    ("name", "outcome"), [("SIGSEGV", Outcome.MISCOMPUTE), ("SIGILL", Outcome.MISCOMPUTE), ("SIGKILL", Outcome.VOID)]
)
def test_a_crash_is_told_from_an_end_from_outside(finish, name, outcome):
    code = f"import os, signal; os.kill(os.getpid(), signal.{name})"
    state = finish(CommandLoad(card(code)).start(1))
    assert (state.state, state.outcome) == ("failed", outcome)
    assert name in state.message


SLEEPER = """
    import subprocess, sys, time
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"])
    print(child.pid, flush=True)
    time.sleep(600)
"""


def wait_for_pid(session) -> int:
    limit = time.monotonic() + 20
    while time.monotonic() < limit:
        tail = session.poll().detail.get("output_tail", "")
        if tail.strip().isdigit():
            return int(tail)
        time.sleep(0.05)
    raise AssertionError("the command did not say the number of its child")


@posix
def test_a_stop_ends_the_command_and_its_children(gone):
    session = CommandLoad(card(SLEEPER)).start(10)
    child = wait_for_pid(session)
    state = session.stop()
    assert state.state == "stopped"
    assert session.stop() is state
    assert gone(child)


@posix
def test_a_command_that_will_not_end_politely_is_ended_all_the_same(gone, monkeypatch):
    monkeypatch.setattr("surefoot.rig.loads.command.TERM_SECONDS", 0.5)
    code = "import signal\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)" + textwrap.dedent(SLEEPER)
    session = CommandLoad(card(code)).start(10)
    child = wait_for_pid(session)
    assert session.stop().state == "stopped"
    assert gone(child)


def test_a_command_that_outlasts_the_minutes_is_cut_short_and_that_is_said(finish):
    state = finish(CommandLoad(card("import time; time.sleep(600)")).start(1 / 60))
    assert (state.state, state.outcome) == ("done", None)
    assert state.detail["passes"] == 0
    assert "no exit code" in state.message


@posix
def test_a_killed_parent_leaves_nothing_of_the_command(gone):
    script = textwrap.dedent(
        f"""
        import sys, time
        from surefoot.rig.loads.command import CommandLoad
        from surefoot.units import LoadCard
        code = {textwrap.dedent(SLEEPER)!r}
        from surefoot.rig.card_commands import let_through, load_command
        own = LoadCard(name="own", command=(sys.executable, "-c", code))
        let_through([load_command(own)])
        session = CommandLoad(own).start(10)
        while not session.poll().detail.get("output_tail"):
            time.sleep(0.05)
        print(session.poll().detail["output_tail"], flush=True)
        time.sleep(600)
        """
    )
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    try:
        child = int(parent.stdout.readline())
    finally:
        parent.send_signal(signal.SIGKILL)
        parent.wait(10)
        parent.stdout.close()
    assert gone(child)


def test_what_cannot_be_run_is_said_before_anything_is_started():
    with pytest.raises(MachineError, match="not found"):
        CommandLoad(LoadCard(name="own", command=("no-such-program-here",))).start(1)
    with pytest.raises(BadInput):
        CommandLoad(LoadCard(name="own"))
    with pytest.raises(BadInput):
        CommandLoad(card("pass")).start(0)


def test_arguments_are_not_read_by_a_shell(finish, tmp_path):
    mark = tmp_path / "mark"
    command = (sys.executable, "-c", "import sys; print(sys.argv[1])", f"; touch {mark}")
    state = finish(CommandLoad(LoadCard(name="own", command=command)).start(1 / 60))
    assert state.state == "done"
    assert not mark.exists()
    assert "; touch" in state.detail["output_tail"]


def test_a_score_is_read_from_the_output_and_the_median_kept(finish):
    code = """
        import os, sys
        path = sys.argv[1]
        n = os.path.getsize(path) if os.path.exists(path) else 0
        open(path, "ab").write(b"x")
        print(f"Frames: {1000 + 10 * n:,} per minute")
    """
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        own = LoadCard(
            name="render",
            command=(sys.executable, "-c", textwrap.dedent(code), os.path.join(folder, "count")),
            score=r"Frames: ([0-9,.]+)",
            score_unit="1/min",
        )
        state = finish(CommandLoad(own).start(2.5 / 60))
    assert state.state == "done"
    passes = state.detail["passes"]
    score = state.detail["scores"]["render"]
    assert (score["unit"], score["higher_is_better"]) == ("1/min", True)
    assert score["value"] == pytest.approx(1000 + 10 * (passes - 1) / 2, abs=10)


def test_an_error_line_is_a_failure_at_once_whatever_the_exit_code(finish, gone):
    began = time.monotonic()
    code = "import time; print('frame 12: checksum differs', flush=True); time.sleep(600)"
    state = finish(CommandLoad(card(code, error_lines=("checksum differs",))).start(5))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert "frame 12: checksum differs" in state.message
    assert time.monotonic() - began < 30


@posix
def test_a_pass_that_takes_too_long_is_a_hang_and_is_ended_with_its_children(finish, gone):
    session = CommandLoad(card(SLEEPER, pass_minutes=1 / 60)).start(5)
    limit = time.monotonic() + 20
    while not (tail := session.poll().detail.get("output_tail", "")).strip() and time.monotonic() < limit:
        time.sleep(0.02)
    state = finish(session)
    assert (state.state, state.outcome) == ("failed", Outcome.HANG)
    assert "longer than" in state.message
    assert gone(int((tail or state.detail["output_tail"]).split()[0]))


@pytest.mark.parametrize(
    "wrong",
    [{"score": "no group"}, {"score": "("}, {"error_lines": ("",)}, {"error_lines": ("[",)}, {"pass_minutes": 0}],
)
def test_a_card_whose_patterns_cannot_work_is_refused(wrong):
    from pydantic import ValidationError

    with pytest.raises(ValidationError):
        LoadCard(name="own", command=("x",), **wrong)


@posix
def test_what_a_pass_leaves_behind_is_ended_before_the_next(finish, gone, tmp_path):
    """One in its group, which holds the output open, and one that made itself a daemon."""
    code = f"""
        import os, subprocess, sys
        for apart in (False, True):
            left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], start_new_session=apart)
            with open({str(tmp_path / "left")!r}, "a") as file:
                print(left.pid, file=file)
    """
    state = finish(CommandLoad(card(code)).start(2.5 / 60))
    assert state.state == "done" and state.detail["passes"] >= 2, state
    left = [int(pid) for pid in (tmp_path / "left").read_text().split()]
    assert len(left) >= 4 and gone(*left)


@posix
def test_a_daemon_of_a_command_that_ignores_its_stop_is_ended_too(gone, tmp_path):
    code = f"""
        import signal, subprocess, sys, time
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(600)"], start_new_session=True)
        with open({str(tmp_path / "left")!r}, "w") as file:
            print(left.pid, file=file)
        time.sleep(600)
    """
    session = CommandLoad(card(code)).start(5)
    limit = time.monotonic() + 30
    while not (tmp_path / "left").exists() or not (tmp_path / "left").read_text():
        assert time.monotonic() < limit
        time.sleep(0.05)
    session.stop()
    assert gone(int((tmp_path / "left").read_text()))


def test_a_line_that_never_ends_fills_no_memory(finish):
    code = "import sys\nfor _ in range(40): sys.stdout.write('x' * 1_000_000)"
    state = finish(CommandLoad(card(code, ok_exit=(0,))).start(3 / 60))
    assert state.state == "done" and len(state.detail["output_tail"]) <= 4000
