"""What became of a worker, from what it said and how it ended."""

from __future__ import annotations

import signal
from typing import Any

import pytest

from surefoot.rig.loads.verdicts import Post, WorkerView, died_by_itself, judge_worker, signal_name
from surefoot.runs import Outcome

VIEW: dict[str, Any] = {"post": Post("processor 3", {"processor": 3}), "ready": True, "units": 12}
WRONG = {"kernel": "matrix", "what": "a product is off", "expected": "aa", "found": "bb", "repeats": True}


@pytest.mark.parametrize(
    ("facts", "outcome"),
    [
        ({}, None),
        ({"silent_seconds": 29.9}, None),
        ({"silent_seconds": 30.1}, Outcome.HANG),
        ({"ended": True, "exit_code": 0}, None),
        ({"ended": True, "silent_seconds": 99.0}, None),
        ({"exit_code": 0}, Outcome.VOID),
        ({"exit_code": -signal.SIGSEGV}, Outcome.MISCOMPUTE),
        ({"exit_code": -signal.SIGILL}, Outcome.MISCOMPUTE),
        ({"exit_code": -signal.SIGABRT}, Outcome.MISCOMPUTE),
        ({"exit_code": -signal.SIGTERM}, Outcome.VOID),
        ({"exit_code": -9}, Outcome.VOID),
        ({"exit_code": 0xC0000005}, Outcome.MISCOMPUTE),
        ({"exit_code": 0xC000013A}, Outcome.VOID),
        ({"exit_code": 1}, Outcome.VOID),
        ({"wrong": WRONG, "exit_code": 3}, Outcome.MISCOMPUTE),
        ({"trouble": {"kind": "program", "what": "TypeError"}, "exit_code": 4}, Outcome.MISCOMPUTE),
        ({"trouble": {"kind": "program", "what": "TypeError"}, "ready": False}, Outcome.VOID),
        ({"trouble": {"kind": "environment", "what": "MemoryError"}}, Outcome.VOID),
        ({"trouble": {"kind": "lost", "what": "device lost"}}, Outcome.DRIVER_RESET),
        ({"trouble": {"kind": "lost", "what": "device lost"}, "ready": False}, Outcome.VOID),
    ],
)
def test_each_end_has_its_outcome(facts, outcome):
    finding = judge_worker(WorkerView(**{**VIEW, **facts}), hang_seconds=30.0)
    assert (finding.outcome if finding else None) is outcome
    if finding:
        assert "processor 3" in finding.message
        assert finding.detail["processor"] == 3
        assert finding.detail["verified_units"] == 12


def test_a_wrong_result_is_told_before_the_way_it_ended():
    finding = judge_worker(WorkerView(**VIEW, wrong=WRONG, exit_code=-11), hang_seconds=30.0)
    assert finding is not None
    assert "a product is off. Done again, it was wrong again." in finding.message


def test_a_crash_stands_for_what_its_post_says():
    post = Post("graphics card", {"graphics": "made up"}, crash=Outcome.DRIVER_RESET)
    finding = judge_worker(WorkerView(post=post, ready=True, exit_code=-signal.SIGABRT), hang_seconds=30.0)
    assert finding is not None
    assert finding.outcome is Outcome.DRIVER_RESET
    assert finding.detail["graphics"] == "made up"


def test_signals_have_names():
    assert signal_name(-11) == "SIGSEGV"
    assert signal_name(5) == ""
    assert signal_name(-64 - 20) == "signal 84"
    assert not died_by_itself(-84)
