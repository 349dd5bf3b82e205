"""What watching a setting in use costs this real machine: share of a core, memory, growth of the journal a day.

Run by hand: `python tests/benchmarks/use_watching.py [MINUTES]` (ten by default). It starts the command itself, in a
home of its own, with hands that write a number into a file and change nothing. The limits are the issue's: at most 1 %
of one core and 50 MB while watching, 1 MB of journal in a day awake for 24 h. Memory is what the process has for itself
(unique set), pages shared with others apart; both are printed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

from confirming import confirm_in
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import HandsCard, Knob, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
BENCH = ((0, 10, True), (60, 5, True), (80, 10, True), (95, 10, True), (115, 1.5, False), (90, 20, True))
SETTLE_SECONDS = 20.0


def tuned(path: Path, folder: Path) -> None:
    """A journal with a unit that was tuned; its hands read and write a file."""
    value = folder / "offset.txt"
    value.write_text("0\n")
    hands = HandsCard(
        kind="command",
        apply=("/bin/sh", "-c", f'echo "$1" > {value}', "set", "{cpu-core}"),
        read_back=("/bin/cat", str(value)),
    )
    with Journal.open(path) as journal:
        unit = Unit(name="watched", knobs=(CORE,), hands=hands)
        journal.add_unit(unit)
        confirm_in(path.parent, unit)
        for depth, minutes, held in BENCH:
            plan = RunPlan(
                unit_name=unit.name, setting=unit.setting_at({"cpu-core": depth}), load="cpu", planned_minutes=minutes,
                knob="cpu-core",
            )  # fmt: skip
            outcome = Outcome.HELD if held else Outcome.RESET
            journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="benchmark"))


def spent(process: psutil.Process) -> tuple[float, float]:
    """Processor seconds of a process, its children and those it has waited for; and their own memory in MB."""
    seconds = memory = 0.0
    for one in [process, *process.children(recursive=True)]:
        times = one.cpu_times()
        seconds += times.user + times.system
        if one.pid == process.pid:
            seconds += times.children_user + times.children_system
        memory += one.memory_full_info().uss / 1e6
    return seconds, memory


def size(folder: Path) -> int:
    """Bytes of the journal with its log."""
    return sum(file.stat().st_size for file in folder.glob("journal.sqlite*"))


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Journal.open(folder / "journal.sqlite") as journal:
            path = journal.path
        tuned(path, folder)
        command = [sys.executable, "-m", "surefoot", "live", "watched", "--unattended", "--i-agree", "--to-stock"]
        environment = {**os.environ, "SUREFOOT_HOME": name}
        watching = subprocess.Popen([*command, "--minutes", f"{minutes + 2:g}"], env=environment)
        process = psutil.Process(watching.pid)
        time.sleep(SETTLE_SECONDS)
        before, own, began = spent(process)[0], 0.0, time.monotonic()
        most = resident = 0.0
        while time.monotonic() - began < minutes * 60:
            time.sleep(10)
            most = max(most, spent(process)[1])
            own = max(own, process.memory_full_info().uss / 1e6)
            resident = max(resident, process.memory_info().rss / 1e6)
        share = (spent(process)[0] - before) / (time.monotonic() - began)
        watching.terminate()
        watching.wait(30)
        with Journal.open(path, read_only=True) as journal:
            run = journal.runs("watched")[-1]
        grown = _content(path, run.heartbeats)
        print(f"watched {minutes:g} min: {run.heartbeats} heartbeats, last outcome {run.outcome}")
        print(f"processor: {share:.3%} of one core (limit 1 %)")
        print(
            f"memory: {own:.0f} MB of its own, {resident:.0f} MB resident; with the guardian {most:.0f} (limit 50 MB)"
        )
        print(f"journal: {grown / 1e6:.2f} MB a day of 24 h awake (limit 1 MB)")


def _content(path: Path, beats: int) -> float:
    """Bytes that a day of heartbeats adds, by the tables' own pages."""
    import sqlite3

    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        rows = connection.execute(
            "SELECT (SELECT sum(length(data) + 60) FROM trace_blocks) + (SELECT count(*) * 60 FROM heartbeats)"
        ).fetchone()
    return float(rows[0] or 0.0) / max(beats, 1) * 24 * 60


if __name__ == "__main__":
    main()
