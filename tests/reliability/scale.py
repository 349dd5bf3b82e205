"""A journal of a whole shop: what one unit's answers cost beside a journal that holds that unit alone.

Run by hand: `python tests/reliability/scale.py [UNITS] [RUNS] [HOURS]` (1,000 units, 200,000 runs, 2,000 h of traces,
at one sample a second). Both journals hold the same unit with 50 runs. Printed are ratios within this run: each
question at most 1.3 times, an append at most 1.5 times a bare commit with full synchronous in the same folder.
"""

from __future__ import annotations

import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
from table import Counted

from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.preview import preview
from surefoot.guide.recall import Present, recall
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.search import Goal
from surefoot.units import Knob, Unit

KNOB = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
UNIT = Unit(name="the one", knobs=(KNOB,))
OWN_RUNS = 50
TRIES = 15
MOST, MOST_APPEND = 1.3, 1.5


def small(path: Path) -> None:
    """One unit with its runs, by the product's own hand."""
    with Journal.open(path) as journal:
        journal.add_unit(UNIT)
        for number in range(OWN_RUNS):
            depth = (number * 5) % 105
            outcome = Outcome.RESET if depth == 100 else Outcome.HELD
            plan = RunPlan(
                unit_name=UNIT.name, setting=UNIT.setting_at({"cpu-core": depth}), load="cpu", planned_minutes=10,
                knob="cpu-core",
            )  # fmt: skip
            run = journal.open_run(plan)
            journal.heartbeat(run, 1.0, Trace(np.arange(36.0), {"cpu.temperature": np.linspace(40, 70, 36)}))
            journal.close_run(run, Closing(outcome=outcome, minutes=10, judged_by="scale"))


def grow(path: Path, units: int, runs: int, hours: float) -> None:
    """Many other units beside it: its own records again under other names, row by row, in large transactions."""
    with closing(sqlite3.connect(path, isolation_level=None)) as at:
        at.execute("PRAGMA synchronous = OFF")
        at.row_factory = sqlite3.Row

        def rows(sql: str) -> list[dict[str, object]]:
            return [dict(row) for row in at.execute(sql)]

        def put(table: str, row: dict[str, object]) -> None:
            names = ", ".join(row)
            at.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", tuple(row.values()))

        card = rows("SELECT * FROM cards LIMIT 1")[0]
        of_runs, of_ends = rows("SELECT * FROM runs"), rows("SELECT * FROM closings")
        beat, block = rows("SELECT * FROM heartbeats LIMIT 1")[0], rows("SELECT * FROM trace_blocks LIMIT 1")[0]
        (next_run,) = tuple(at.execute("SELECT max(id) + 1 FROM runs").fetchone())
        (next_beat,) = tuple(at.execute("SELECT max(id) + 1 FROM heartbeats").fetchone())
        each, blocks = runs // units, round(hours * 3600 / int(block["samples"]))  # type: ignore[call-overload]
        wanted = blocks / runs
        for number in range(units):
            name = f"unit {number}"
            at.execute("BEGIN")
            put("units", {"name": name, "added_at": f"2031-01-01T00:00:{number % 60:02d}.{number:06d}+00:00"})
            named = str(card["card"]).replace(UNIT.name, name)
            put("cards", {**card, "id": number + 2, "unit": name, "card": named})
            for place in range(each):
                whole = int((number * each + place + 1) * wanted) - int((number * each + place) * wanted)
                run = {**of_runs[place % OWN_RUNS], "id": next_run, "unit": name, "card_id": number + 2}
                put("runs", run)
                for _ in range(whole):
                    put("heartbeats", {**beat, "id": next_beat, "run_id": next_run})
                    put("trace_blocks", {**block, "id": next_beat, "run_id": next_run, "heartbeat_id": next_beat})
                    next_beat += 1
                put("closings", {**of_ends[place % OWN_RUNS], "run_id": next_run})
                next_run += 1
            at.execute("COMMIT")


def recalled(path: Path) -> None:
    with Journal.open(path) as journal:
        from datetime import UTC, datetime

        recall(journal, journal.unit(UNIT.name), Goal(), Present(datetime.now(UTC), None, "b", "os"))


def proposed(path: Path) -> None:
    with Journal.open(path) as journal:
        preview(journal, journal.unit(UNIT.name), Goal(), None, "posterior")


def begun(path: Path) -> None:
    """All that `tune` does before its first proposal."""
    with Journal.open(path) as journal:
        unit = journal.unit(UNIT.name)
        machine = VirtualMachine(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1)
        with at_work(Bench(journal, unit, machine, Unattended()), off_stock=True, agreed=True):
            journal.runs(unit.name)


def listed(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.runs(UNIT.name)
        journal.runs_with_trace(UNIT.name)


def took(what: Callable[[Path], None], paths: tuple[Path, Path]) -> tuple[float, float]:
    """Seconds in the one and the other, in turns; the least of several, since what others do here only adds."""
    spent: tuple[list[float], list[float]] = ([], [])
    for turn in range(TRIES + 1):
        for place, path in enumerate(paths):
            began = time.perf_counter()
            what(path)
            if turn:
                spent[place].append(time.perf_counter() - began)
    return min(spent[0]), min(spent[1])


def appended(path: Path, folder: Path) -> tuple[float, float]:
    """Seconds of a bare commit with full synchronous, and of a heartbeat with samples in the large journal."""
    bare, own = [], []
    trace = Trace(np.arange(10.0), {"cpu.temperature": np.linspace(40, 70, 10)})
    with closing(sqlite3.connect(folder / "bare.sqlite", isolation_level=None)) as at, Journal.open(path) as journal:
        at.execute("PRAGMA journal_mode = WAL")
        at.execute("PRAGMA synchronous = FULL")
        at.execute("CREATE TABLE a (b BLOB)")
        plan = RunPlan(unit_name=UNIT.name, setting=UNIT.setting_at({"cpu-core": 5}), load="cpu", planned_minutes=10)
        run = journal.open_run(plan)
        for number in range(300):
            began = time.perf_counter()
            at.execute("BEGIN IMMEDIATE")
            at.execute("INSERT INTO a VALUES (?)", (bytes(900),))
            at.execute("COMMIT")
            bare.append(time.perf_counter() - began)
            began = time.perf_counter()
            journal.heartbeat(run, number * 0.01, trace)
            own.append(time.perf_counter() - began)
        journal.close_run(run, Closing(outcome=Outcome.VOID, minutes=6, judged_by="scale"))
    return statistics.median(bare), statistics.median(own)


def count(units: float = 1000, runs: float = 200_000, hours: float = 2000) -> list[Counted]:
    """A line for each question: one try, lost when it costs more than it may."""
    found = []
    with tempfile.TemporaryDirectory() as name:
        alone, shop = Path(name) / "alone" / "journal.sqlite", Path(name) / "shop" / "journal.sqlite"
        small(alone)
        small(shop)
        began = time.perf_counter()
        grow(shop, int(units), int(runs), hours)
        size = shop.stat().st_size / 1e6
        spent = time.perf_counter() - began
        print(f"{units:,.0f} units, {runs:,.0f} runs, {hours:,.0f} h: {size:,.0f} MB in {spent:.0f} s", flush=True)
        print(f"{'what':<28} {'alone, ms':>10} {'in the shop':>12} {'ratio':>7} {'at most':>8}")
        asked = {"recall": recalled, "next": proposed, "start of tune": begun, "runs of the unit": listed}
        for what, question in asked.items():
            one, many = took(question, (alone, shop))
            found.append(_line(what, many / one, MOST, hours, runs))
            print(f"{what:<28} {one * 1e3:>10.1f} {many * 1e3:>12.1f} {many / one:>7.2f} {MOST:>8}")
        bare, own = appended(shop, Path(name))
        found.append(_line("an append", own / bare, MOST_APPEND, hours, runs))
        what = "heartbeat, beside bare commit"
        print(f"{what:<28} {bare * 1e3:>10.2f} {own * 1e3:>12.2f} {own / bare:>7.2f} {MOST_APPEND:>8}")
    return found


def _line(what: str, ratio: float, most: float, hours: float, runs: float) -> Counted:
    line = Counted(f"scale: {what}, {runs:,.0f} runs, {hours:,.0f} h of traces")
    line.at_most(f"ratio, at most {most}", round(ratio, 2))
    line.judge(ratio <= most, f"{what}: {ratio:.2f} times, at most {most}")
    return line


def main() -> int:
    return int(any(line.lost for line in count(*map(float, sys.argv[1:4]))))


if __name__ == "__main__":
    sys.exit(main())
