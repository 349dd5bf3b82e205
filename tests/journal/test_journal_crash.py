"""kill -9 at random moments: nothing that was acknowledged is missing.

A child process writes runs and prints an acknowledgement of each step after it returned; the parent kills it and reads
the journal. What was printed must be there; one step more may be there, the one that was on its way. That the disk
itself keeps what was flushed to it is SQLite's promise (synchronous=FULL) and cannot be tested by killing a process.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from surefoot.journal import Journal
from surefoot.units import Knob, Unit

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")

NAME = "shoebox-3"
SAMPLES = 3
# One interpreter forks a child a round, so that a round costs no imports and there can be many.
NURSERY = f"""
import os, sys
import numpy as np
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Setting

def say(*words):
    os.write(1, (" ".join(map(str, words)) + "\\n").encode())

def write():
    with Journal.open() as journal, journal.writer({NAME!r}):
        for run in journal.open_runs({NAME!r}):
            journal.close_run(run.id, Closing(outcome=Outcome.VOID, minutes=run.last_minutes, judged_by="the test"))
            say("closed", run.id)
        while True:
            run = journal.open_run(RunPlan(unit_name={NAME!r}, setting=Setting(values={{"cpu-core": -50}}),
                                           load="cpu", planned_minutes=1))
            say("opened", run)
            journal.applied(run, Setting(values={{"cpu-core": -45}}))
            say("applied", run)
            for beat in range(1, 1 + run % 5):
                seconds = beat + np.arange({SAMPLES}) / {SAMPLES}
                journal.heartbeat(run, beat, Trace(seconds, {{"cpu.power": seconds * 1.5}}))
                say("beat", run, beat)
            journal.close_run(run, Closing(outcome=Outcome.HELD, minutes=run % 5, judged_by="held"))
            say("closed", run)

for line in sys.stdin:
    child = os.fork()
    if child == 0:
        try:
            write()
        finally:
            os._exit(1)
    say("child", child)
    os.waitpid(child, 0)
    say("dead")
"""


class Nursery:
    """Makes writers and kills them."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process

    def round(self, after_steps: int, seconds: float) -> list[list[str]]:
        """Kill a new writer so long after so many acknowledged steps; the steps it acknowledged in all."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write("go\n")
        self._process.stdin.flush()
        said: list[list[str]] = []
        child = 0
        # Counted in steps and not in time alone, so that a busy machine does not kill every writer at its start.
        while not child or len(said) < after_steps:
            words = self._process.stdout.readline().split()
            assert words != ["dead"], "the writer ended by itself"
            if words[0] == "child":
                child = int(words[1])
            else:
                said.append(words)
        time.sleep(seconds)
        os.kill(child, signal.SIGKILL)
        while (words := self._process.stdout.readline().split()) != ["dead"]:
            said.append(words)
        return said


@contextmanager
def nursery() -> Iterator[Nursery]:
    process = subprocess.Popen(
        [sys.executable, "-c", NURSERY], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    )
    with process:
        yield Nursery(process)
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(10) == 0


def check(path: Path, acknowledged: list[list[str]], known: dict[int, int]) -> int:
    """Hold the journal to what was acknowledged in all rounds; how many steps it holds beyond that.

    ``known``: heartbeats acknowledged by run, over all rounds, updated here.
    """
    beyond = 0
    with Journal.open(path) as journal:
        assert journal.faults() == []
        runs = {run.id: run for run in journal.runs(NAME)}
        steps = {tuple(words) for words in acknowledged}
        for words in acknowledged:
            run = runs[int(words[1])]
            known.setdefault(run.id, 0)
            if words[0] == "applied":
                assert run.applied is not None
            elif words[0] == "beat":
                known[run.id] = max(known[run.id], int(words[2]))
            elif words[0] == "closed":
                assert run.closing is not None
        seen_in_this_round = {int(words[1]) for words in acknowledged}
        for run in runs.values():
            assert run.heartbeats >= known.get(run.id, 0), "an acknowledged heartbeat is missing"
            trace = journal.trace(run.id) if run.id in seen_in_this_round else None
            if trace is not None:
                assert len(trace) == SAMPLES * run.heartbeats, "a heartbeat and its samples are one step"
            if run.id not in known:
                beyond += 1
                assert run.applied is None and run.heartbeats == 0 and run.is_open
                known[run.id] = 0
                continue
            beyond += run.heartbeats - known[run.id]
            known[run.id] = run.heartbeats
            if run.id in seen_in_this_round:
                beyond += (
                    run.applied is not None
                    and ("opened", str(run.id)) in steps
                    and (
                        "applied",
                        str(run.id),
                    )
                    not in steps
                )
                beyond += not run.is_open and ("closed", str(run.id)) not in steps
        assert len([run for run in runs.values() if run.is_open]) <= 1
        with journal.writer(NAME):
            pass
    return beyond


def rounds(folder: Path, number: int, seed: int) -> tuple[int, int]:
    """Play so many rounds; the steps acknowledged, and those found beyond them."""
    chance = random.Random(seed)
    with Journal.open() as journal:
        journal.add_unit(Unit(name=NAME, knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),)))
    steps = beyond = 0
    known: dict[int, int] = {}
    with nursery() as made:
        for _ in range(number):
            acknowledged = made.round(chance.randrange(8), chance.choice([0.0, 0.002, 0.01]) * chance.random())
            more = check(folder, acknowledged, known)
            assert more <= 1, "at most the one step that was on its way"
            steps += len(acknowledged)
            beyond += more
    return steps, beyond


def test_nothing_acknowledged_is_lost_when_the_writer_is_killed(folder: Path) -> None:
    steps, _ = rounds(folder / "journal.sqlite", 60, seed=2)
    assert steps > 120, "the writers got to write"


@pytest.mark.long
def test_nothing_acknowledged_is_lost_in_hundreds_of_kills(folder: Path) -> None:
    steps, beyond = rounds(folder / "journal.sqlite", 600, seed=3)
    assert steps > 1200 and beyond > 0, "some kill hit a step between its COMMIT and its acknowledgement"


def test_the_check_can_fail(folder: Path) -> None:
    """What the two tests above rest on: a step that is told but not there is seen."""
    with Journal.open() as journal:
        journal.add_unit(Unit(name=NAME))
    with pytest.raises((AssertionError, KeyError)):
        check(folder / "journal.sqlite", [["opened", "1"]], {})
