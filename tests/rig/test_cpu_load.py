"""The built-in CPU load with real processes: it works, and it tells its failures apart."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
from types import SimpleNamespace
from typing import Any

import psutil
import pytest

from surefoot.errors import BadInput
from surefoot.rig.loads.cpu import CpuLoad
from surefoot.rig.loads.crew import WorkerProcess, unread_bytes
from surefoot.rig.loads.fault import FAULT_VARIABLE, Fault
from surefoot.rig.loads.processors import allowed_processors
from surefoot.runs import Outcome

posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals")
TWO = allowed_processors()[:2]
ONE = TWO[:1]
"""Where one worker shows it as well: each takes half a second of a processor before it works."""


def test_a_clean_run_verifies_work_on_every_processor_and_ends_by_itself(finish, gone):
    session = CpuLoad("cpu-transitions", processors=TWO).start(1.8 / 60)
    pids = session.worker_pids
    state = finish(session)
    assert state.state == "done", state
    assert state.outcome is None
    assert set(state.detail["verified_units"]) == {f"processor {number}" for number in TWO}
    assert all(units > 0 for units in state.detail["verified_units"].values())
    # Short units of work count as less than one step of progress each.
    assert 0 < state.progress < sum(state.detail["verified_units"].values())
    assert gone(*pids)


def test_each_worker_is_bound_to_its_processor_with_one_thread_of_blas():
    session = CpuLoad("cpu-heavy", processors=TWO).start(1)
    try:
        for pid, processor in zip(session.worker_pids, TWO, strict=True):
            worker = psutil.Process(pid)
            assert worker.cpu_affinity() == [processor]
            assert worker.environ()["OPENBLAS_NUM_THREADS"] == "1"
            # Two threads of its own: the work, and the ear for the parent.
            assert worker.num_threads() <= 3
    finally:
        session.stop()


def test_full_load_gives_a_rate_of_verified_work(finish):
    session = CpuLoad("cpu-heavy", processors=TWO[:1]).start(1.8 / 60)
    state = finish(session)
    assert state.state == "done"
    scores = {score.name: score for score in session.scores()}
    assert set(scores) == {"cpu matrix"}
    assert all(score.value > 0 and score.higher_is_better for score in scores.values())
    assert scores["cpu matrix"].unit == "GFLOP/s"
    assert state.detail["scores"]["cpu matrix"]["value"] == scores["cpu matrix"].value


@pytest.mark.parametrize("kernel", ["matrix", "compression", "transform"])
def test_one_flipped_bit_is_a_miscompute_with_its_processor_and_kernel(finish, gone, kernel):
    fault = Fault("flip", worker=len(TWO) - 1, kernel=kernel, after_units=2)
    session = CpuLoad("cpu-transitions", processors=TWO, fault=fault).start(1)
    state = finish(session)
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert state.detail["processor"] == TWO[-1]
    assert state.detail["kernel"] == kernel
    assert len(state.detail["expected"]) == 64
    assert state.detail["expected"] != state.detail["found"]
    assert state.detail["repeats"] is False
    assert str(TWO[-1]) in state.message
    # It can never pass for a failure of the machine's own.
    assert "on purpose" in state.message
    assert state.detail["fault_put_in_on_purpose"]["kind"] == "flip"
    assert gone(*session.worker_pids)


@posix
def test_a_worker_that_dies_is_told_from_one_that_computes_wrongly(finish):
    state = finish(CpuLoad("cpu-heavy", processors=ONE, fault=Fault("die")).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert "died (SIGSEGV)" in state.message
    assert state.detail["signal"] == "SIGSEGV"
    assert "kernel" not in state.detail


@posix
def test_a_worker_ended_from_outside_proves_nothing(finish):
    state = finish(CpuLoad("cpu-heavy", processors=ONE, fault=Fault("kill")).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.VOID)
    assert "from outside (SIGKILL)" in state.message


@posix
@pytest.mark.parametrize(("kind", "words"), [("freeze", "stopped"), ("spin", "busy"), ("sleep", "asleep")])
def test_a_worker_that_stops_answering_is_a_hang_and_is_ended(finish, gone, kind, words):
    session = CpuLoad("cpu-heavy", processors=ONE, fault=Fault(kind)).start(1)
    state = finish(session)
    assert (state.state, state.outcome) == ("failed", Outcome.HANG)
    assert state.detail["processor"] == ONE[0]
    assert words in state.message
    # Long before the half minute that a worker which only waits for its turn is given.
    assert 0.5 < state.detail["silent_seconds"] < 15
    assert gone(*session.worker_pids)


def test_a_worker_whose_program_breaks_is_a_miscompute_in_its_own_words(finish):
    state = finish(CpuLoad("cpu-heavy", processors=ONE, fault=Fault("raise")).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert "RuntimeError" in state.message


def test_a_stop_ends_every_process_at_once_and_may_be_called_twice(gone):
    session = CpuLoad("cpu", processors=TWO).start(10)
    time.sleep(0.5)
    assert session.poll().state == "running"
    began = time.monotonic()
    state = session.stop()
    assert time.monotonic() - began < 10
    assert state.state == "stopped"
    assert session.stop() is state
    assert session.poll() is state
    assert gone(*session.worker_pids, seconds=1)


@posix
def test_a_failure_in_the_last_moment_is_still_told_by_stop(gone):
    session = CpuLoad("cpu-heavy", processors=ONE, fault=Fault("die", after_units=0)).start(1)
    assert gone(session.worker_pids[0])
    state = session.stop()
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)


@posix
def test_an_interrupt_from_the_keyboard_does_not_reach_the_workers():
    session = CpuLoad("cpu-heavy", processors=ONE).start(1)
    try:
        for pid in session.worker_pids:
            assert os.getsid(pid) != os.getsid(0)
            os.kill(pid, signal.SIGINT)
        time.sleep(0.5)
        assert session.poll().state == "running"
    finally:
        session.stop()


@posix
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_killed_parent_leaves_no_worker(gone, number):
    script = textwrap.dedent(
        """
        import time
        from surefoot.rig.loads.cpu import CpuLoad
        from surefoot.rig.loads.processors import allowed_processors
        session = CpuLoad("cpu-heavy", processors=allowed_processors()[:1]).start(10)
        print(*session.worker_pids, flush=True)
        time.sleep(600)
        """
    )
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    try:
        pids = [int(pid) for pid in parent.stdout.readline().split()]
        assert len(pids) == 1
        assert all(psutil.pid_exists(pid) for pid in pids)
    finally:
        parent.send_signal(number)
        parent.wait(10)
        parent.stdout.close()
    assert gone(*pids)


@posix
def test_a_parent_that_ends_without_a_word_leaves_no_worker(gone):
    script = (
        "from surefoot.rig.loads.cpu import CpuLoad; "
        f"s = CpuLoad('cpu', processors={ONE!r}).start(10); print(*s.worker_pids)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    assert gone(*[int(pid) for pid in done.stdout.split()])


def test_a_processor_that_cannot_be_bound_is_said(finish):
    state = finish(CpuLoad("cpu-heavy", processors=(4095,)).start(1 / 60))
    assert state.state == "done"
    assert state.detail["not_pinned"] == ["processor 4095"]


def test_a_load_too_short_for_every_processor_says_which_verified_nothing(finish):
    # A session of a fraction of a second: the workers may not come round to any work at all.
    state = finish(CpuLoad("cpu-transitions", processors=TWO).start(0.01 / 60))
    assert state.state == "done"
    assert state.detail["verified_nothing"] == [f"processor {number}" for number in TWO]
    assert "too short" in state.message


def test_a_fault_can_be_asked_for_by_the_environment(monkeypatch, finish):
    monkeypatch.setenv(FAULT_VARIABLE, "flip:0:1:matrix")
    state = finish(CpuLoad("cpu-heavy", processors=ONE).start(1))
    assert state.outcome is Outcome.MISCOMPUTE
    assert state.detail["kernel"] == "matrix"


def test_the_text_of_a_fault():
    assert Fault.parse("freeze") == Fault("freeze")
    assert Fault.parse("flip:3:20:matrix") == Fault("flip", 3, 20, "matrix")
    assert Fault.parse("die::7") == Fault("die", 0, 7)
    for text in ("melt", "flip:x"):
        with pytest.raises(BadInput):
            Fault.parse(text)


def test_bad_input():
    with pytest.raises(BadInput, match="cpu-heavy"):
        CpuLoad("cpu-light")
    for minutes in (0, -1, float("nan")):
        with pytest.raises(BadInput):
            CpuLoad("cpu").start(minutes)


@posix
def test_a_word_that_lies_unread_is_no_silence():
    """On a machine with too much to do the thread that reads waits for its turn as the workers do."""
    read, write = os.pipe()
    with os.fdopen(read, "rb") as stream:
        worker: Any = SimpleNamespace(
            _process=SimpleNamespace(stdout=stream),
            _lock=threading.Lock(),
            _words=1,
            _words_seen=1,
            _silent_seconds=0.0,
        )
        WorkerProcess.count_silence(worker, 3.0)
        assert (unread_bytes(stream), worker._silent_seconds) == (0, 3.0)
        os.write(write, b'{"beat": 1}\n')
        WorkerProcess.count_silence(worker, 3.0)
        assert (unread_bytes(stream), worker._silent_seconds) == (12, 0.0)
    os.close(write)
    assert unread_bytes(stream) == 0
