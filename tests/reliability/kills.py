"""kill -9 at random moments of everything that writes, many times: nothing acknowledged lost, nothing left behind.

    python tests/reliability/kills.py [KILLS] [--seed N] [--jobs N] [--seconds S] [--keep FILE]

After each kill the journal must be well, hold every acknowledged step, and tell of any setting that still stands
applied; the next start puts the unit back and the same work, given again, comes to its end. No temporary folder, no
half import, no lock may be left. Slices of other seeds add up; ``--jobs`` plays so many side by side, and after S
seconds it stops and says how many there were. FILE: the lines are kept there as well, for `everything.py --add`.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from fnmatch import fnmatch
from pathlib import Path

from kill_child import UNIT
from power_cuts import memory
from slices import cut, mixed, played
from table import Counted, keep, print_table

from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.runs import Closing, Outcome, Run, RunPlan
from surefoot.units import Setting

HERE = Path(__file__).parent
SCHEMA_1 = HERE.parent / "journal" / "data" / "schema-1.sql"
NAME = "journal.sqlite"
OURS = {NAME, f"{NAME}-wal", f"{NAME}-shm", "locks", "reserve", "guardian.jsonl"}
ACKNOWLEDGED, WHILE_APPLIED = "acknowledged steps", "kills while a setting stood applied"
KINDS = (
    "tune",
    "measure",
    "trial",
    "live",
    "import",
    "migration",
    "bundle save",
    "bundle load",
    "backup",
    "first start",
)


class Nursery:
    """Has work done, and kills it."""

    def __init__(self, process: subprocess.Popen[str], temporary: Path) -> None:
        self._process = process
        self.temporary = temporary

    def do(self, what: str, home: Path, *more: str, kill_after: float | None = None) -> tuple[list[list[str]], int]:
        """The acknowledged steps and how it ended; ``kill_after``: seconds."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps({"what": what, "home": str(home), "with": more}) + "\n")
        self._process.stdin.flush()
        said: list[list[str]] = []
        if kill_after is not None:
            words = self._next()
            while words[0] != "child":
                said.append(words)
                words = self._next()
            time.sleep(kill_after)
            with suppress(ProcessLookupError):
                os.kill(int(words[1]), signal.SIGKILL)
        while (words := self._next())[0] != "dead":
            if words[0] != "child":
                said.append(words)
        return said, int(words[1])

    def _next(self) -> list[str]:
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        assert line, "the nursery ended"
        return line.split()


@contextmanager
def nursery() -> Iterator[Nursery]:
    """A process to fork from, with a folder for temporary files of its own."""
    with tempfile.TemporaryDirectory(prefix="kills-") as temporary:
        environment = dict(os.environ, TMPDIR=temporary)
        with subprocess.Popen(
            [sys.executable, str(HERE / "kill_child.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            bufsize=1, env=environment,
        ) as process:  # fmt: skip
            yield Nursery(process, Path(temporary))
            assert process.stdin is not None
            process.stdin.close()


class Field:
    """One kind of work in a place of its own."""

    def __init__(self, kind: str, top: Path, made: Nursery) -> None:
        self.kind, self.top, self.made = kind, top, made
        self.home = top / "home"
        self.number = 0

    def prepare(self) -> tuple[str, list[str]]:
        """Make ready for one round; the work and what it needs."""
        self.number += 1
        kind = self.kind
        if kind in ("tune", "measure", "trial", "live"):
            if not self.home.exists() or self.number % 12 == 0:
                self._fresh()
                self._runs(3)
                if kind == "live":
                    self._tuned()
            return kind, []
        if kind == "first start":
            self._fresh()
            return "command", ["unit", "list"]
        if kind == "migration":
            self._fresh()
            import sqlite3

            self.home.mkdir()
            connection = sqlite3.connect(self.home / NAME)
            connection.executescript(SCHEMA_1.read_text(encoding="utf-8"))
            connection.close()
            return "command", ["unit", "list"]
        if not self.home.exists() or self.number % 12 == 0:
            self._fresh()
            self._runs(6)
        if kind == "import":
            log = self.top / "log.csv"
            rows = [f"2026-11-01 10:{at // 60 % 60:02}:{at % 60:02},{50 + at % 9},{20 + at % 5}.5" for at in range(900)]
            log.write_text("Time,CPU Temperature [°C],CPU Power [W]\n" + "\n".join(rows), encoding="utf-8")
            return "command", ["trace", "import", str(log), "--unit", UNIT.name, "--yes", "--sure"]
        if kind == "bundle save":
            return "command", ["bundle", "save", UNIT.name, str(self.top / "unit.bundle"), "--force"]
        if kind == "backup":
            return "command", ["journal", "backup", str(self.top / "copy.sqlite"), "--force"]
        assert kind == "bundle load"
        bundle = self.top / "other.bundle"
        other = self.top / "other"
        if not bundle.exists():
            other.mkdir()
            self._runs(6, other, "another")
            with Journal.open(other / NAME) as journal:
                save_bundle(journal, "another", bundle)
        if self.number > 1 and self._has("another"):
            self._fresh()
            self._runs(2)
        return "command", ["bundle", "load", str(bundle)]

    def _has(self, name: str) -> bool:
        with Journal.open(self.home / NAME) as journal:
            return name in [unit.name for unit in journal.units()]

    def _fresh(self) -> None:
        import shutil

        shutil.rmtree(self.home, ignore_errors=True)
        (self.top / "applied").unlink(missing_ok=True)

    def _runs(self, count: int, home: Path | None = None, name: str = UNIT.name) -> None:
        place = home or self.home
        place.mkdir(exist_ok=True)
        with Journal.open(place / NAME) as journal:
            journal.add_unit(UNIT.model_copy(update={"name": name}))
            for depth in range(count):
                plan = RunPlan(unit_name=name, setting=Setting(values={"cpu-core": -5.0 * depth}), load="everything",
                               planned_minutes=20, source="hand")  # fmt: skip
                journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=20, judged_by="test"))

    def _tuned(self) -> None:
        """Enough that held and failed for something to be certified, so that there is something to live with."""
        bench = ((0, 10, True), (60, 5, True), (80, 10, True), (95, 10, True), (115, 1.5, False), (90, 20, True))
        with Journal.open(self.home / NAME) as journal:
            for depth, minutes, held in bench:
                plan = RunPlan(unit_name=UNIT.name, setting=Setting(values={"cpu-core": -float(depth)}),
                               load="everything", planned_minutes=minutes, knob="cpu-core", source="hand")  # fmt: skip
                outcome = Outcome.HELD if held else Outcome.RESET
                journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="test"))

    def check(self, said: list[list[str]], counted: Counted) -> None:
        """Hold what is there after a kill to what was acknowledged; raises AssertionError."""
        applied = self.top / "applied"
        stands = json.loads(applied.read_text() or "{}") if applied.exists() else {}
        off_stock = any(stands.values()) or (applied.exists() and not applied.read_text())
        with Journal.open(self.home / NAME) as journal:
            assert journal.faults() == [], journal.faults()
            units = [unit.name for unit in journal.units()]
            runs = {run.id: run for name in units for run in journal.runs(name)}
            self._acknowledged(said, runs)
            if off_stock:
                counted.count(WHILE_APPLIED)
                told = journal.standing(UNIT.name)
                assert told is not None and not told.setting.is_stock, "a setting stands and the journal does not tell"
            for run in runs.values():
                if self.kind == "import" and run.plan.purpose == "log":
                    assert journal.has_trace(run.id), f"run {run.id} was imported without its trace"
            if self.kind == "bundle load" and "another" in units:
                assert len([run for run in runs.values() if run.plan.unit_name == "another"]) == 6
            for name in units:
                with journal.writer(name):
                    pass
        left = {path.name for path in self.home.iterdir()} - OURS
        if self.kind == "migration":
            # A copy is kept of each state that a migration began from, a half-way one as well.
            left = {name for name in left if not fnmatch(name, "journal.schema-[1-9].sqlite")}
        assert not left, f"left in the data directory: {sorted(left)}"
        beside = {path.name for path in self.top.iterdir()}
        beside -= {"home", "applied", "log.csv", "unit.bundle", "other.bundle", "other", "copy.sqlite"}
        assert not beside, f"left beside the target: {sorted(beside)}"
        assert not list(self.made.temporary.iterdir()), (
            f"left in the temporary folder: {os.listdir(self.made.temporary)}"
        )
        for file in (self.top / "unit.bundle", self.top / "copy.sqlite"):
            if file.exists():
                self._whole(file)

    def _whole(self, file: Path) -> None:
        with tempfile.TemporaryDirectory() as folder, Journal.open(Path(folder) / NAME) as journal:
            assert load_bundle(journal, file).runs == 6, f"{file.name} is there but not whole"

    def _acknowledged(self, said: list[list[str]], runs: dict[int, Run]) -> None:
        for words in said:
            if words[0] not in ("open", "beat", "close"):
                continue
            run = runs.get(int(words[1]))
            assert run is not None, f"run {words[1]} is gone"
            if words[0] == "beat":
                assert run.last_minutes >= float(words[2]) - 1e-9, f"a heartbeat of run {run.id} is gone"
            if words[0] == "close":
                assert run.outcome is Outcome(words[2]), f"the closing of run {run.id} is gone"

    def again(self, what: str, needs: list[str]) -> None:
        """The same work given again comes to its end, and the unit is at stock then."""
        if self.kind in ("tune", "measure", "trial", "live"):
            said, code = self.made.do("settled", self.home)
            assert code == 0, f"the next start failed: {said}"
            applied = self.top / "applied"
            if applied.exists():
                assert not any(json.loads(applied.read_text() or '{"?": 1}').values()), "not put back to stock"
            with Journal.open(self.home / NAME) as journal:
                assert journal.open_runs(UNIT.name) == []
            if self.number % 6:
                return
        said, code = self.made.do(what, self.home, *needs)
        assert code == 0, f"given again it failed: {said}"


def rounds(kind: str, kills: int, made: Nursery, seed: int, until: float = float("inf")) -> Counted:
    """Kill one kind of work so many times; ``until``: a moment of the system's clock."""
    chance = random.Random(f"{kind} {seed}")
    counted = Counted(f"kill -9: {kind}")
    with tempfile.TemporaryDirectory(prefix="field-", dir=memory()) as folder:
        field_ = Field(kind, Path(folder), made)
        what, needs = field_.prepare()
        began = time.monotonic()
        said, code = made.do(what, field_.home, *needs)
        assert code == 0, said
        takes = time.monotonic() - began
        while counted.tried < kills and time.time() < until:
            what, needs = field_.prepare()
            said, code = made.do(what, field_.home, *needs, kill_after=chance.uniform(0, takes))
            counted.count(ACKNOWLEDGED, len(said))
            if code != -signal.SIGKILL:
                takes *= 0.97
                assert code == 0, said
                continue
            counted.tried += 1
            try:
                field_.check(said, counted)
                field_.again(what, needs)
                counted.survived += 1
            except AssertionError as error:
                counted.lost.append(f"{kind}, kill {counted.tried}: {error}")
                field_._fresh()
    return counted


def of_kind(kind: str, first: int, last: int, until: float = float("inf")) -> Counted:
    """One slice: as many kills as there are numbers, the first of which is the seed."""
    with nursery() as made:
        return rounds(kind, last - first, made, first, until)


def count(
    kills: int, kinds: tuple[str, ...] = KINDS, seed: int = 1, jobs: int = 1, seconds: float = float("inf")
) -> list[Counted]:
    """So many kills, over all kinds. ``jobs``: side by side, in slices of 25."""
    each = -(-kills // len(kinds))
    if jobs == 1 and seconds == float("inf"):
        # One process to fork from for all kinds: starting it costs more than many kills.
        with nursery() as made:
            return [rounds(kind, each, made, seed) for kind in kinds]
    size = each if jobs == 1 else 25
    many = [(kind, cut(kind, seed, seed + each, size)) for kind in kinds]
    return played(of_kind, mixed(many), jobs, seconds)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("kills", type=int, nargs="?", default=1000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--jobs", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=float("inf"))
    asked.add_argument("--keep", type=Path)
    told = asked.parse_args()
    lines = count(told.kills, seed=told.seed, jobs=told.jobs, seconds=told.seconds)
    if told.keep:
        keep(lines, told.keep)
    code = print_table(lines)
    print(f"{sum(line.tried for line in lines):,} of {told.kills:,} kills", end="")
    for name in (ACKNOWLEDGED, WHILE_APPLIED):
        print(f"; {name}: {sum(line.sums.get(name, 0) for line in lines):,.0f}", end="")
    print()
    return code


if __name__ == "__main__":
    sys.exit(main())
