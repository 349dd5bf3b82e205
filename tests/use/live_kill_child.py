"""Run as a process by test_kill.py: living with a virtual unit in slowed time, each acknowledged record printed.

Arguments: journal file, boot identity, seed.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from lived_in import LivedIn

from surefoot.guide.bench import Bench
from surefoot.guide.goals import goal_for
from surefoot.guide.living import Living, live
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import RunPlan, Trace


class Telling(Journal):
    """Prints what has been acknowledged, after it was."""

    def open_run(self, plan: RunPlan, *, at: object = None) -> int:
        run_id = super().open_run(plan)
        print("open", run_id, flush=True)
        return run_id

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        super().heartbeat(run_id, minutes, samples)
        print("beat", run_id, repr(minutes), flush=True)


class Slowed(LivedIn):
    """At its load from the start, in virtual time that takes a little real time, so that a kill can fall anywhere."""

    given = ""

    def loaded_now(self) -> bool:
        return True

    def boot_id(self) -> str:
        return self.given

    def sleep(self, seconds: float) -> None:
        time.sleep(0.001)
        super().sleep(seconds)


def main() -> None:
    path, boot, seed = sys.argv[1:]
    with Telling.open(Path(path)) as journal:
        unit = journal.unit("shoebox-3")
        machine = Slowed(unit, {"cpu-core": VirtualUnit(400, 5)}, int(seed))
        machine.given = boot
        print("ready", flush=True)
        bench = Bench(journal, unit, machine, Unattended(), goal=goal_for(unit))
        live(bench, Living(agreed=True, sample_seconds=20, heartbeat_seconds=60, stretch_minutes=60))


if __name__ == "__main__":
    main()
