"""Every state that a power cut could leave of a journal being written, opened and held to what was acknowledged.

    python tests/reliability/power_cuts.py [STATES]

A session, a first start, migrations, bundles saved, loaded and merged, trace imports and a thinning are played under a
recorder that writes down every write and flush that the process asks of the system. Each prefix of that record is a
moment at which the power may go; `cut_disk` makes of it the disks that may be found then. Each must open as a journal,
be well by its own check, hold every acknowledged record and at most the one that was on its way, propose the step that
follows from those, and take the next run. Needs a C compiler and a preloading loader (Linux).
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cut_disk import Change, Disk, Tree, read_log
from table import Counted

from surefoot.errors import SurefootError
from surefoot.journal import Journal, schema
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.search import Goal, assess
from surefoot.units import Setting

HERE = Path(__file__).parent
SCHEMA_1 = HERE.parent / "journal" / "data" / "schema-1.sql"
NAME = "journal.sqlite"


@cache
def recorder() -> Path | None:
    """The recorder, compiled; None where it cannot be."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or sys.platform != "linux":
        return None
    made = Path(tempfile.gettempdir()) / f"surefoot-recorder-{os.getpid()}.so"
    source = HERE / "recorder.c"
    done = subprocess.run(
        [compiler, "-O1", "-shared", "-fPIC", "-o", made, source, "-ldl"], check=False, capture_output=True
    )
    return made if done.returncode == 0 else None


def recorded(top: Path, *arguments: str) -> tuple[Tree, list[Change]]:
    """Let the child do something under ``top``; what was there before, and every change since."""
    before = tree_of(top)
    with tempfile.TemporaryDirectory(prefix="recorded-") as beside:
        log, marks = Path(beside) / "log", top / "told.marks"
        environment = dict(os.environ, LD_PRELOAD=str(recorder()), RECORD_LOG=str(log), RECORD_ROOT=str(top))
        child = [sys.executable, str(HERE / "cut_child.py"), arguments[0], str(marks), *arguments[1:]]
        done = subprocess.run(child, env=environment, check=False, capture_output=True, text=True)
        marks.unlink(missing_ok=True)
        assert done.returncode == 0, done.stderr
        return before, [one for one in read_log(log) if not one.path.endswith((".marks", "-shm", ".lock"))]


def tree_of(top: Path) -> Tree:
    """Everything under a folder."""
    return {
        str(path): None if path.is_dir() else path.read_bytes()
        for path in sorted(top.rglob("*"))
        if not path.name.endswith((".marks", "-shm", ".lock"))
    }


def lay_out(tree: Tree, top: Path, to: Path) -> None:
    """Make a tree under another folder."""
    for path in sorted(tree):
        target = to / Path(path).relative_to(top)
        content = tree[path]
        if content is None:
            target.mkdir(parents=True, exist_ok=True)
        elif target.parent.is_dir():
            target.write_bytes(content)


def digest(journal: Journal) -> str:
    """SHA-256 of every record."""
    found = hashlib.sha256()
    for table in sorted(schema.RECORD_TABLES):
        for row in journal.store.tuples(f"SELECT * FROM {table} ORDER BY rowid"):
            found.update(repr((table, *row)).encode())
    return found.hexdigest()


def next_steps(journal: Journal) -> str:
    """What would be tried next on every unit."""
    return repr(
        [
            (step.stop, step.setting.values if step.setting else None, step.minutes)
            for unit in journal.units()
            for step in [assess(unit, journal.runs(unit.name), Goal()).step]
        ]
        if any(unit.knobs for unit in journal.units())
        else []
    )


def goes_on(journal: Journal) -> None:
    """Judge what is open, and make one more run."""
    for unit in journal.units():
        with journal.writer(unit.name):
            for run in journal.open_runs(unit.name):
                void = Closing(outcome=Outcome.VOID, minutes=run.last_minutes, judged_by="the power was cut")
                journal.close_run(run.id, void)
            plan = RunPlan(unit_name=unit.name, setting=Setting(), load="cpu", planned_minutes=1)
            journal.heartbeat(number := journal.open_run(plan), 0.5)
            journal.close_run(number, Closing(outcome=Outcome.HELD, minutes=1, judged_by="test"))


@dataclass
class Replay:
    """One recorded piece of work, replayed. ``home``: the folder of the journal; ``other``: what else must be well."""

    top: Path
    home: str
    before: Tree
    changes: list[Change]
    other: Callable[[Path], None] | None = None

    def told(self) -> list[str]:
        """The digest after each mark, the state before the first one at the front."""
        disk = Disk(self.before)
        found = [self._digest(disk.whole())]
        for change in self.changes:
            if change.kind == "M":
                found.append(self._digest(disk.whole()))
            else:
                disk.play(change)
        return found

    def _digest(self, tree: Tree) -> str:
        with tempfile.TemporaryDirectory(prefix="cut-", dir=memory()) as folder:
            lay_out(tree, self.top, Path(folder))
            with Journal.open(Path(folder) / self.home / NAME) as journal:
                return digest(journal)

    def cuts(self, seed: int) -> Iterator[tuple[int, str, Tree]]:
        """Every cut: how many marks had been told, how the disk came to be, and the disk."""
        disk, marks, chance = Disk(self.before), 0, random.Random(seed)
        seen: set[tuple[int, int]] = set()
        for number, change in enumerate([None, *self.changes]):
            if change is not None and change.kind == "M":
                marks += 1
            elif change is not None:
                disk.play(change)
            for how, tree in disk.states(chance):
                key = (marks, hash(tuple(sorted((path, hash(content)) for path, content in tree.items()))))
                if key not in seen:
                    seen.add(key)
                    yield marks, f"after change {number}: {how}", tree

    def count(self, what: str, seed: int, most: int | None = None) -> Counted:
        """Replay (a sample of) every cut."""
        told, counted = self.told(), Counted(what)
        steps: dict[str, str] = {}
        picked = None
        if most is not None:
            # Played twice and not kept: all the states of a session together are gigabytes.
            there = sum(1 for _ in self.cuts(seed))
            picked = set(random.Random(seed).sample(range(there), min(most, there)))
        for number, (marks, how, tree) in enumerate(self.cuts(seed)):
            if picked is not None and number not in picked:
                continue
            counted.tried += 1
            try:
                self._one(tree, told[marks : marks + 2], steps, counted.tried % 10 == 0)
                counted.survived += 1
            except (AssertionError, SurefootError, OSError) as error:
                counted.lost.append(f"{what}, {how}, after mark {marks}: {type(error).__name__}: {error}")
        return counted

    def _one(self, tree: Tree, allowed: list[str], steps: dict[str, str], go_on: bool) -> None:
        with tempfile.TemporaryDirectory(prefix="cut-", dir=memory()) as folder:
            lay_out(tree, self.top, Path(folder))
            with Journal.open(Path(folder) / self.home / NAME) as journal:
                assert journal.faults() == [], journal.faults()
                found = digest(journal)
                assert found in allowed, "it holds other records than were acknowledged"
                if found not in steps:
                    steps[found] = next_steps(journal)
                if go_on:
                    assert next_steps(journal) == steps[found], "another next step"
                    goes_on(journal)
                    assert journal.faults() == []
            if self.other is not None:
                self.other(Path(folder))


@cache
def memory() -> str | None:
    """A folder in memory: what is tried here need not reach a disk."""
    return "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def first_start_and_session(top: Path, runs: int) -> Replay:
    """From nothing at all to a session of some runs."""
    return Replay(top, "data/home", *recorded(top, "tune", str(top / "data" / "home"), str(runs)))


def older(top: Path) -> Path:
    """A journal of schema 1."""
    import sqlite3

    home = top / "home"
    home.mkdir()
    made = sqlite3.connect(home / NAME)
    made.executescript(SCHEMA_1.read_text(encoding="utf-8"))
    made.close()
    return home


def migration(top: Path) -> Replay:
    """A journal of schema 1 brought forward; the copy made before is whole, once anything was changed."""
    import sqlite3

    home = older(top)

    def kept(folder: Path) -> None:
        copies = list((folder / "home").glob("*schema-1*.sqlite"))
        assert copies, "the migration went on without a copy of what was there"
        for copy in copies:
            opened = sqlite3.connect(copy)
            assert opened.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
            assert opened.execute("SELECT count(*) FROM runs").fetchone()[0] == 3
            opened.close()

    return Replay(top, "home", *recorded(top, "open", str(home)), kept)


def with_runs(folder: Path, name: str = "shoebox-3", runs: int = 4) -> None:
    """A journal with some runs and traces."""
    import numpy as np
    from cut_child import UNIT

    from surefoot.runs import Trace

    folder.mkdir(parents=True, exist_ok=True)
    with Journal.open(folder / NAME) as journal:
        if name not in [unit.name for unit in journal.units()]:
            journal.add_unit(UNIT.model_copy(update={"name": name}))
        for depth in range(runs):
            plan = RunPlan(unit_name=name, setting=Setting(values={"cpu-core": -5.0 * depth}), load="cpu",
                           planned_minutes=10)  # fmt: skip
            number = journal.open_run(plan)
            for beat in range(3):
                seconds = np.arange(20.0) + 20 * beat
                journal.heartbeat(number, beat + 1, Trace(seconds, {"cpu.temperature": 50 + seconds % 7}))
            journal.close_run(number, Closing(outcome=Outcome.HELD, minutes=10, judged_by="test"))


def bundle(top: Path, how: str) -> Replay:
    """A bundle saved, loaded, or merged into a journal that has an older state of the unit."""
    from surefoot.journal.bundle import load_bundle, save_bundle

    home, file = top / "home", top / "unit.bundle"
    if how == "save":
        with_runs(home)

        def whole(folder: Path) -> None:
            left = [path for path in folder.rglob("*") if path.name == file.name]
            for path in left:
                with tempfile.TemporaryDirectory(dir=memory()) as other, Journal.open(Path(other) / NAME) as empty:
                    assert load_bundle(empty, path).runs == 4, "a bundle that is there but not whole"

        arguments = ["command", str(home), "bundle", "save", "shoebox-3", str(file)]
        return Replay(top, "home", *recorded(top, *arguments), whole)
    elsewhere = Path(tempfile.mkdtemp(prefix="elsewhere-", dir=memory()))
    try:
        with_runs(elsewhere)
        with Journal.open(elsewhere / NAME) as other:
            if how == "merge":
                save_bundle(other, "shoebox-3", top / "older.bundle")
        if how == "merge":
            home.mkdir()
            with Journal.open(home / NAME) as journal:
                load_bundle(journal, top / "older.bundle")
            with_runs(elsewhere)
        else:
            with_runs(home, "another")
        with Journal.open(elsewhere / NAME) as other:
            save_bundle(other, "shoebox-3", file)
    finally:
        shutil.rmtree(elsewhere)
    return Replay(top, "home", *recorded(top, "command", str(home), "bundle", "load", str(file)))


def trace_import(top: Path) -> Replay:
    """A sensor log stored as a new run with its trace."""
    with_runs(top / "home")
    log = top / "log.csv"
    rows = [f"2026-11-01 10:{at // 60:02}:{at % 60:02},{50 + at % 9},{20 + at % 5}.5" for at in range(600)]
    log.write_text("Time,CPU Temperature [°C],CPU Power [W]\n" + "\n".join(rows), encoding="utf-8")
    arguments = ["command", str(top / "home"), "trace", "import", str(log), "--unit", "shoebox-3", "--yes", "--sure"]
    return Replay(top, "home", *recorded(top, *arguments))


def thinning(top: Path) -> Replay:
    """Samples of a run taken away: all of them are there, or what stays and the record of it."""
    with_runs(top / "home", runs=1)
    words = ("journal", "thin", "shoebox-3", "--every", "5", "--older", "0", "--yes")
    replay = Replay(top, "home", *recorded(top, "command", str(top / "home"), *words))
    before, *_, after = replay.told()
    assert before != after, "nothing was thinned"
    return replay


PARTS: dict[str, Callable[[Path], Replay]] = {
    "first start and a session": lambda top: first_start_and_session(top, 12),
    "a migration from schema 1": migration,
    "a bundle saved": lambda top: bundle(top, "save"),
    "a bundle loaded": lambda top: bundle(top, "load"),
    "a bundle merged": lambda top: bundle(top, "merge"),
    "a trace imported": trace_import,
    "a trace thinned": thinning,
}


def count(states: int | None = None, parts: tuple[str, ...] = tuple(PARTS), seed: int = 11) -> list[Counted]:
    """Play and replay the parts; ``states``: at most so many of each."""
    found = []
    for what in parts:
        with tempfile.TemporaryDirectory(prefix="cuts-") as folder:
            found.append(PARTS[what](Path(folder)).count(f"power cut: {what}", seed, states))
            print(f"{what}: {found[-1].tried} tried", file=sys.stderr, flush=True)
    return found


if __name__ == "__main__":
    from table import print_table

    if recorder() is None:
        raise SystemExit("needs Linux and a C compiler")
    sys.exit(print_table(count(int(sys.argv[1]) if sys.argv[1:] else None)))
