"""The built-in graphics load with a real process, on a software device where there is no card."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from surefoot.errors import BadInput, MachineError
from surefoot.rig.loads.cpu import CpuLoad
from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.gpu.load import DEVICE_VARIABLE, GpuLoad, graphics_devices
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.together import Together
from surefoot.runs import Outcome

posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals")


@pytest.fixture(scope="module")
def any_device() -> str:
    pytest.importorskip("wgpu", reason="the extra `gpu` is not installed")
    try:
        devices = graphics_devices()
    except MachineError as error:
        pytest.skip(error.message())
    if not devices:
        pytest.skip("no graphics device, not even a software one")
    return devices[-1]["name"]


def test_a_clean_run_verifies_work_and_names_its_device(any_device, finish, gone):
    session = GpuLoad("gpu", device=any_device).start(1.5 / 60)
    state = finish(session)
    assert (state.state, state.outcome) == ("done", None), state
    assert state.progress > 0
    assert state.detail["graphics"] == any_device
    assert state.detail["verified_units"]["graphics device"] > 0
    assert all(score.value > 0 for score in session.scores())
    assert gone(*session.worker_pids)


def test_one_flipped_bit_is_a_miscompute_with_its_kernel(any_device, finish):
    state = finish(GpuLoad("gpu-memory", device=any_device, fault=Fault("flip", after_units=2)).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert state.detail["kernel"] == "pattern"
    assert state.detail["graphics"] == any_device
    assert state.detail["repeats"] is False
    assert "on purpose" in state.message


@pytest.mark.parametrize(
    ("fault", "outcome", "words"),
    [
        (Fault("lost", after_units=1), Outcome.DRIVER_RESET, "gave the device up"),
        (Fault("stall", after_units=1), Outcome.HANG, "stopped answering"),
        (Fault("spin", after_units=1), Outcome.HANG, "busy without a result"),
    ],
    ids=lambda value: value.kind if isinstance(value, Fault) else "",
)
def test_a_device_or_worker_that_is_gone_or_stuck_is_told_apart(any_device, finish, fault, outcome, words):
    # A device that is at work for ever is given the whole of this time; a worker that spins is found long before.
    seconds = 1.5 if fault.kind == "stall" else 30.0
    state = finish(GpuLoad("gpu-memory", device=any_device, hang_seconds=seconds, fault=fault).start(1))
    assert (state.state, state.outcome) == ("failed", outcome), state
    assert words in state.message


@posix
def test_a_driver_that_takes_its_client_down_is_a_driver_reset(any_device, finish):
    state = finish(GpuLoad("gpu-memory", device=any_device, fault=Fault("die", after_units=1)).start(1))
    assert (state.state, state.outcome) == ("failed", Outcome.DRIVER_RESET)


@pytest.mark.long
@posix
def test_a_killed_parent_leaves_no_worker(any_device, gone):
    script = (
        "import time; from surefoot.rig.loads.gpu.load import GpuLoad;"
        f"s = GpuLoad('gpu-memory', device={any_device!r}).start(10);"
        "print(*s.worker_pids, flush=True); time.sleep(600)"
    )
    parent = subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    try:
        pids = [int(pid) for pid in parent.stdout.readline().split()]
        assert len(pids) == 1
    finally:
        parent.send_signal(signal.SIGKILL)
        parent.wait(10)
        parent.stdout.close()
    assert gone(*pids)


def test_no_such_device_is_said_before_a_run_begins(any_device, monkeypatch):
    monkeypatch.setenv(DEVICE_VARIABLE, "no card of this name")
    with pytest.raises(MachineError, match="no card of this name"):
        GpuLoad("gpu").start(1)


@pytest.mark.long
def test_together_with_the_processor(any_device, finish, gone):
    processor = allowed_processors()[0]
    gpu = GpuLoad("gpu-memory", device=any_device)
    load = Together("both", (gpu, CpuLoad("cpu-heavy", processors=[processor])))
    assert load.exercises() == ("gpu-memory", "cpu")
    state = finish(load.start(2.5 / 60))
    assert state.state == "done"
    assert set(state.detail["loads"]) == {"gpu-memory", "cpu-heavy"}
    assert {"gpu pattern", "cpu matrix"} <= set(state.detail["scores"])


def test_bad_input():
    with pytest.raises(BadInput, match="gpu-memory"):
        GpuLoad("gpu-burn")
    with pytest.raises(BadInput):
        GpuLoad("gpu").start(0)
