"""kill -9 at random moments of living with a unit: no acknowledged minute is lost."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from lived_in import LivedIn

from surefoot.guide.bench import Bench
from surefoot.guide.recovery import recover
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import USE, Ending, Outcome
from surefoot.search.use_choice import in_use
from surefoot.units import Unit

CHILD = Path(__file__).with_name("live_kill_child.py")


class Again(LivedIn):
    """The machine at the next start."""

    given = ""

    def boot_id(self) -> str:
        return self.given


def killed(path: Path, boot: str, seed: int, wait: float) -> list[list[str]]:
    """What was acknowledged before the kill."""
    child = subprocess.Popen(
        [sys.executable, str(CHILD), str(path), boot, str(seed)], stdout=subprocess.PIPE, text=True
    )
    assert child.stdout is not None
    assert child.stdout.readline() == "ready\n"
    time.sleep(wait)
    child.kill()
    said = child.stdout.read()
    child.wait()
    return [line.split() for line in said.split("\n")[:-1]]


def rounds(journal: Journal, unit: Unit, count: int) -> None:
    rng = random.Random(7)
    beats = 0
    for number in range(count):
        # Few crashes: with one in three nothing is certified any more, and nothing is lived with in the rounds after.
        how = "crash" if number % 30 == 2 else ("same", "planned")[number % 2]
        records = killed(journal.path, f"boot-{number}", number, rng.uniform(0.2, 0.9))
        machine = Again(unit, {"cpu-core": VirtualUnit(400, 5)}, number)
        machine.given = f"boot-{number}" if how == "same" else "later"
        if how != "same":
            machine.ended[f"boot-{number}"] = Ending("planned" if how == "planned" else "crash", "told by the record")
        with journal.writer(unit.name):
            recover(Bench(journal, unit, machine, Unattended()))
        runs = {run.id: run for run in journal.runs(unit.name)}
        assert not journal.open_runs(unit.name)
        last = max((int(run_id) for kind, run_id, *_ in records if kind == "open"), default=None)
        for kind, run_id, *rest in records:
            if kind == "beat":
                beats += 1
                run = runs[int(run_id)]
                assert run.minutes >= float(rest[0]) - 1e-9, "an acknowledged minute was lost"
                assert run.closing is not None
                assert run.closing.detail["loaded"]["cpu-core"] == pytest.approx(run.minutes, abs=0.01)
                assert run.closing.detail["awake_minutes"] >= run.minutes - 0.01
        closing = None if last is None else runs[last].closing
        if last is not None and closing and closing.detail.get("recovered"):
            assert runs[last].outcome is (Outcome.RESET if how == "crash" else Outcome.HELD), how
    assert beats > 5 * count
    used = [run for run in journal.runs(unit.name) if run.plan.purpose == USE]
    assert in_use(used).load_hours >= beats / 60 * 0.9


def test_no_acknowledged_minute_is_lost(journal: Journal, unit: Unit) -> None:
    rounds(journal, unit, 6)


@pytest.mark.long
def test_no_acknowledged_minute_is_lost_often(journal: Journal, unit: Unit) -> None:
    rounds(journal, unit, 60)
