"""kill -9 in the middle of a session, at random moments, many times: nothing acknowledged is lost, and the next start
judges the open run by the boot identity."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from surefoot.guide.bench import Bench
from surefoot.guide.recovery import recover
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Outcome
from surefoot.units import Knob, Unit

CHILD = Path(__file__).with_name("crash_child.py")
CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)


class Booted(VirtualMachine):
    """With the boot identity it was given."""

    given = ""

    def boot_id(self) -> str:
        return self.given


def killed_session(path: Path, boot: str, seed: int, most: int, wait: float) -> list[list[str]]:
    """Acknowledged records of a session that was killed ``wait`` seconds after it had acknowledged so many."""
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(path), "shoebox-3", boot, str(seed)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    # Counted in records and not in seconds alone: on a busy machine nothing happens in some tenths of a second.
    said = "".join(child.stdout.readline() for _ in range(most))
    time.sleep(wait)
    child.kill()
    said += child.stdout.read()
    child.wait()
    # The last line may have been cut off in the middle: then it was not yet acknowledged.
    return [line.split() for line in said.split("\n")[:-1]]


def rounds(path: Path, count: int) -> None:
    rng = random.Random(20)
    with Journal.open(path) as journal:
        journal.add_unit(Unit(name="shoebox-3", knobs=(CORE,)))
    outcomes = []
    for number in range(count):
        boot_then = f"boot-{number}"
        same = rng.random() < 0.5
        records = killed_session(path, boot_then, number, rng.randrange(30), rng.uniform(0.0, 0.1))
        with Journal.open(path) as journal:
            machine = Booted(journal.unit("shoebox-3"), {"cpu-core": VirtualUnit(400, 5)}, seed=number)
            machine.given = boot_then if same else "later"
            before = {run.id: run for run in journal.runs("shoebox-3")}
            for kind, run_id, *rest in records:
                run = before[int(run_id)]
                if kind == "beat":
                    assert run.last_minutes >= float(rest[0]) - 1e-9
                    assert journal.trace(run.id).seconds[-1] >= float(rest[0]) * 60 - 6
                if kind == "close":
                    assert run.outcome is Outcome(rest[0])
            beats: dict[int, int] = {}
            for kind, run_id, *_ in records:
                beats[int(run_id)] = beats.get(int(run_id), 0) + (kind == "beat")
            for run_id_, count_ in beats.items():
                assert count_ <= before[run_id_].heartbeats <= count_ + 1, "at most one more than was acknowledged"
            open_before = journal.open_runs("shoebox-3")
            assert len(open_before) <= 1
            with journal.writer("shoebox-3"):
                recovered = recover(Bench(journal, journal.unit("shoebox-3"), machine, Unattended()))
            assert [run.id for run in recovered] == [run.id for run in open_before]
            for run in recovered:
                assert run.outcome is (Outcome.VOID if same else Outcome.RESET)
                assert run.minutes == run.last_minutes
                outcomes.append(run.outcome)
            assert journal.open_runs("shoebox-3") == []
    assert {Outcome.VOID, Outcome.RESET} <= set(outcomes), "the kills fell into runs, under both kinds of boot"


def test_killed_at_random_moments(tmp_path: Path) -> None:
    rounds(tmp_path / "journal.sqlite", 12)


@pytest.mark.long
def test_killed_at_random_moments_many_times(tmp_path: Path) -> None:
    rounds(tmp_path / "journal.sqlite", 200)
