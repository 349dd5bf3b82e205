"""Measuring for 72 virtual hours and a watching of 60 virtual days: memory and file handles stay as they were.

    python tests/reliability/long_hauls.py [SHARE]

Both are played in this process, with the journal in a file; what the process holds is looked at after each virtual hour
under load, or day. Measured from a tenth of the way on, when everything that is loaded once has been. ``SHARE``: of
the hours and days, 1 by default. Linux.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import psutil
from kill_child import UNIT, WIDE
from power_cuts import memory
from table import Counted

from surefoot.guide.bench import Bench
from surefoot.guide.living import Living, live
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.settle import Settling
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, Outcome, RunPlan

HOURS, DAYS = 72.0, 60.0
GROWTH = 1.10
"""Flat: the end no more than a tenth above the tenth of the way."""
BENCH = ((0, 10, True), (60, 5, True), (80, 10, True), (95, 10, True), (115, 1.5, False), (90, 20, True))


@dataclass
class Looked(Counted):
    """A line of the table: looks taken, of which so many were within bounds."""

    bytes_: list[int] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)

    def look(self) -> None:
        """Note what the process holds now."""
        process = psutil.Process()
        self.bytes_.append(process.memory_info().rss)
        self.handles.append(len(list(Path("/proc/self/fd").iterdir())))

    def judge_growth(self) -> None:
        """Hold every later look to the one at a tenth of the way."""
        at = max(1, len(self.bytes_) // 10)
        for number in range(at, len(self.bytes_)):
            self.tried += 1
            memory_, handles = self.bytes_[number] / self.bytes_[at], self.handles[number] - self.handles[at]
            if memory_ <= GROWTH and handles <= 0:
                self.survived += 1
            else:
                self.lost.append(f"{self.what}, look {number}: memory {memory_:.2f} times, {handles:+} handles")
        self.what += f" ({self.bytes_[at] / 1e6:.0f} to {self.bytes_[-1] / 1e6:.0f} MB, {self.handles[-1]} handles)"


class Watched(VirtualMachine):
    """Looks at the process as virtual time goes by."""

    every = 3600.0
    looked_at = 0.0
    look: Callable[[], None]

    def sleep(self, seconds: float) -> None:
        super().sleep(seconds)
        if self.seconds() - self.looked_at >= self.every:
            self.looked_at = self.seconds()
            self.look()


class Used(Watched):
    """In use, under load half of each day."""

    every = 24 * 3600.0

    def sample(self) -> dict[str, float]:
        busy = 92.0 if self.seconds() % 86400 < 43200 else 5.0
        return {**super().sample(), "cpu.busy": busy, "cpu.power": 1.1 * busy}


def played(what: str, kind: type[Watched], act: Callable[[Bench], object]) -> Looked:
    """Play it on a unit that never fails."""
    counted = Looked(f"long haul: {what}")
    with tempfile.TemporaryDirectory(prefix="haul-", dir=memory()) as folder, Journal.open(Path(folder)) as journal:
        journal.add_unit(UNIT)
        for depth, minutes, held in BENCH:
            setting = UNIT.setting_at({"cpu-core": depth})
            plan = RunPlan(unit_name=UNIT.name, setting=setting, load="cpu", planned_minutes=minutes, knob="cpu-core",
                           source="hand")  # fmt: skip
            outcome = Outcome.HELD if held else Outcome.RESET
            journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="test"))
        machine = kind(UNIT, {"cpu-core": VirtualUnit(400, 5)}, seed=3)
        machine.look = counted.look
        act(Bench(journal, UNIT, machine, Unattended(), goal=WIDE))
        assert journal.faults() == []
    counted.judge_growth()
    return counted


def count(share: float = 1.0) -> list[Looked]:
    """Play both."""
    minutes = HOURS * 60 * share / 12
    measuring = Measuring(setting=UNIT.setting_at({"cpu-core": 20}), load="cpu", minutes=minutes, repeats=12,
                          agreed=True, sample_seconds=5, settling=Settling(at_most_minutes=0.2))  # fmt: skip
    living = Living(agreed=True, minutes=DAYS * 1440 * share, to_stock=True, sample_seconds=30)
    return [
        played(f"measuring for {HOURS * share:g} virtual hours", Watched, lambda bench: measure(bench, measuring)),
        played(f"a watching of {DAYS * share:g} virtual days", Used, lambda bench: live(bench, living)),
    ]


if __name__ == "__main__":
    from table import print_table

    sys.exit(print_table(count(float(sys.argv[1]) if sys.argv[1:] else 1.0)))
