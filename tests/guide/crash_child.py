"""Run as a process by test_crash.py: a virtual unit in slowed time, run after run, each acknowledged record printed.

Arguments: journal file, unit name, boot identity, seed.
"""

from __future__ import annotations

import sys
import time
from datetime import datetime
from pathlib import Path

from guide_bench import WIDE, held_before

from surefoot.guide.bench import Bench
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, RunPlan, Trace


class Telling(Journal):
    """Prints what has been acknowledged, after it was."""

    def open_run(self, plan: RunPlan, *, at: datetime | None = None) -> int:
        run_id = super().open_run(plan, at=at)
        print("open", run_id, flush=True)
        return run_id

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        super().heartbeat(run_id, minutes, samples)
        print("beat", run_id, repr(minutes), flush=True)

    def close_run(self, run_id: int, closing: Closing, *, at: datetime | None = None) -> None:
        super().close_run(run_id, closing, at=at)
        print("close", run_id, closing.outcome.value, flush=True)


class Slowed(VirtualMachine):
    """Virtual time that takes a little real time, so that a kill can fall anywhere."""

    def sleep(self, seconds: float) -> None:
        time.sleep(0.002)
        super().sleep(seconds)


class OtherBoot(Slowed):
    """With the boot identity it was given."""

    given = ""

    def boot_id(self) -> str:
        return self.given


def main() -> None:
    path, name, boot, seed = sys.argv[1:]
    with Telling.open(Path(path)) as journal:
        unit = journal.unit(name)
        machine = OtherBoot(unit, {"cpu-core": VirtualUnit(400, 5)}, seed=int(seed))
        machine.given = boot
        measuring = Measuring(
            setting=unit.setting_at({"cpu-core": 60}),
            load="cpu",
            minutes=2.0,
            repeats=1000,
            agreed=True,
            sample_seconds=5,
            heartbeat_seconds=10,
            settling=Settling(at_most_minutes=0.2),
        )
        if not journal.runs(name):
            held_before(journal, unit, 0)
        print("ready", flush=True)
        measure(Bench(journal, unit, machine, Unattended(), goal=WIDE), measuring)


if __name__ == "__main__":
    main()
