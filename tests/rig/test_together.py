"""Several loads as one, with made-up ones."""

from __future__ import annotations

import pytest

from surefoot.errors import MachineError
from surefoot.rig.loads.together import Together
from surefoot.rig.protocols import LoadState
from surefoot.runs import Outcome


class Fake:
    by_hand = False

    def __init__(self, name: str, *states: LoadState, refuses: bool = False) -> None:
        self.name = name
        self.states = list(states)
        self.refuses = refuses
        self.stops = 0

    def exercises(self) -> tuple[str, ...]:
        return (self.name, "transition")

    def start(self, minutes: float) -> Fake:
        if self.refuses:
            raise MachineError("not here.")
        return self

    def poll(self) -> LoadState:
        return self.states.pop(0) if len(self.states) > 1 else self.states[0]

    def stop(self) -> LoadState:
        self.stops += 1
        last = self.states[-1]
        return LoadState("stopped", progress=last.progress) if last.state == "running" else last


RUNNING = LoadState("running", progress=2.0, phase="full")
DONE = LoadState("done", progress=3.0)
WRONG = LoadState("failed", outcome=Outcome.MISCOMPUTE, message="a product is off", detail={"processor": 3})
RESET = LoadState("failed", outcome=Outcome.DRIVER_RESET, message="the driver was reset")


def test_running_till_all_are_done():
    session = Together("all", (Fake("cpu", RUNNING, RUNNING, DONE), Fake("gpu", RUNNING, DONE))).start(1)
    state = session.poll()
    assert (state.state, state.progress, state.phase) == ("running", 4.0, "full; full")
    assert session.poll().state == "running"
    state = session.poll()
    assert (state.state, state.outcome, state.progress) == ("done", None, 6.0)
    assert session.stop() is state


def test_the_first_failure_ends_all():
    gpu = Fake("gpu", RUNNING)
    session = Together("all", (Fake("cpu", WRONG), gpu)).start(1)
    state = session.poll()
    assert (state.state, state.outcome) == ("failed", Outcome.MISCOMPUTE)
    assert state.message == "cpu: a product is off"
    assert (state.detail["processor"], state.detail["failed_load"]) == (3, "cpu")
    assert gpu.stops == 1


def test_of_two_failures_the_wrong_result_is_told():
    state = Together("all", (Fake("gpu", RESET), Fake("cpu", WRONG))).start(1).poll()
    assert state.outcome is Outcome.MISCOMPUTE


def test_a_stop_ends_all_and_tells_a_late_failure():
    session = Together("all", (Fake("cpu", RUNNING), Fake("gpu", RUNNING))).start(1)
    assert session.stop().state == "stopped"
    session = Together("all", (Fake("cpu", RUNNING), Fake("gpu", RUNNING, RESET))).start(1)
    assert session.stop().outcome is Outcome.DRIVER_RESET


def test_one_that_cannot_start_leaves_none_running():
    first = Fake("cpu", RUNNING)
    with pytest.raises(MachineError):
        Together("all", (first, Fake("gpu", RUNNING, refuses=True))).start(1)
    assert first.stops == 1


def test_what_it_exercises():
    assert Together("all", (Fake("cpu", DONE), Fake("gpu", DONE))).exercises() == ("cpu", "transition", "gpu")
