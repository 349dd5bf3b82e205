"""One writer per unit, with a lock that dies with its process."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from surefoot.errors import BadInput, JournalError
from surefoot.journal import Journal
from surefoot.runs import RunPlan
from surefoot.units import Setting, Unit

NAME = "shoebox-3"
HOLD = """
import sys, time
from surefoot.journal import Journal
with Journal.open() as journal, journal.writer(sys.argv[1]):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def other_session(journal: Journal) -> Iterator[subprocess.Popen[str]]:
    child = subprocess.Popen([sys.executable, "-c", HOLD, NAME], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None and child.stdout.readline() == "held\n"
    yield child
    child.kill()
    child.wait()
    child.stdout.close()


def test_a_second_session_is_refused_with_who_holds_it(journal: Journal, other_session: subprocess.Popen[str]) -> None:
    told = f"process {other_session.pid} on {socket.gethostname()}, since 20"
    with pytest.raises(JournalError, match=told), journal.writer(NAME):
        pass
    with pytest.raises(JournalError, match=f"process {other_session.pid}"):
        journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1))
    journal.add_unit(Unit(name="another"))
    with journal.writer("another"):
        pass
    assert journal.runs(NAME) == []


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_the_lock_dies_with_its_process(journal: Journal, other_session: subprocess.Popen[str]) -> None:
    os.kill(other_session.pid, signal.SIGKILL)
    other_session.wait()
    with journal.writer(NAME):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="no fork")
def test_an_orphaned_worker_does_not_keep_the_lock(journal: Journal) -> None:
    code = HOLD.replace('print("held", flush=True)', 'import os; os.fork(); os.write(1, b"held\\n")')
    child = subprocess.Popen([sys.executable, "-c", code, NAME], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline() == "held\n" and child.stdout.readline() == "held\n"
    children = Path(f"/proc/{child.pid}/task/{child.pid}/children")
    worker = int(children.read_text()) if children.exists() else None
    child.kill()
    child.wait()
    try:
        with journal.writer(NAME):
            pass
    finally:
        if worker:
            os.kill(worker, signal.SIGKILL)
        child.stdout.close()


def test_it_excludes_its_own_process_too_and_is_free_again(journal: Journal) -> None:
    with Journal.open() as second:
        with journal.writer(NAME):
            with pytest.raises(JournalError, match=f"process {os.getpid()}"), second.writer(NAME):
                pass
            journal.open_run(RunPlan(unit_name=NAME, setting=Setting(), load="cpu", planned_minutes=1))
        with second.writer(NAME):
            pass


def test_an_error_inside_frees_it(journal: Journal) -> None:
    with pytest.raises(ZeroDivisionError), journal.writer(NAME):
        _ = 1 / 0
    with journal.writer(NAME):
        pass


def test_any_name_can_be_locked(journal: Journal) -> None:
    name = "../../etc/§ strange: name? " + "x" * 50
    journal.add_unit(Unit(name=name))
    with journal.writer(name):
        assert all(path.suffix == ".lock" for path in (journal.path.parent / "locks").iterdir())
    with pytest.raises(BadInput), journal.writer("nobody"):
        pass


def test_waiting_is_bounded(journal: Journal, other_session: subprocess.Popen[str]) -> None:
    began = time.monotonic()
    with pytest.raises(JournalError), journal.writer(NAME):
        pass
    assert time.monotonic() - began < 5
