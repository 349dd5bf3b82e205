"""Hostile input, counted: generated cards, tables, logs, frame logs and bundles, each read as a user would have it.

Run by hand: `python tests/reliability/hostile.py [CASES] [FIRST]` (100,000 cases; FIRST: the number to begin with). A
case is lost when it ends in anything but a result or a clear error, takes more than 5 s of processor time or 30 s by
the clock, brings the process past 500 MB, writes outside its folder, starts a process or connects to anything. With
HOSTILE_SECONDS it stops after so long and says so.
"""

from __future__ import annotations

import os
import queue
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

sys.path.insert(0, str(Path(__file__).parent))

from hostile_inputs import KINDS
from table import print_table

CHILD = Path(__file__).with_name("hostile_child.py")
SECONDS = 5.0
"""Of processor time: what else runs on the machine takes none of that."""
WAIT_SECONDS = 30.0
START_SECONDS = 120.0
MEGABYTES = 500
BATCH = 1000


@dataclass
class Tried:
    """One kind: how many were tried and survived, and what was lost, in words."""

    what: str
    tried: int = 0
    survived: int = 0
    lost: list[str] = field(default_factory=list)
    slowest: float = 0.0
    peak: int = 0


def play(kind: str, first: int, last: int, tried: Tried, until: float = float("inf")) -> None:
    """Play the cases of one kind, in children that are ended when one hangs or eats."""
    while first < last and time.monotonic() < until:
        first = _batch(kind, first, min(last, first + BATCH), tried, until)


def _batch(kind: str, first: int, last: int, tried: Tried, until: float) -> int:
    with tempfile.TemporaryDirectory() as home:
        child = subprocess.Popen(
            [sys.executable, str(CHILD), kind, str(first), str(last), home],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", errors="replace",
        )  # fmt: skip
        lines: queue.Queue[str] = queue.Queue()
        out = child.stdout
        assert out is not None and child.stderr is not None
        threading.Thread(target=_hear, args=(out, lines), daemon=True).start()
        at, patience = first, START_SECONDS
        try:
            while time.monotonic() < until:
                try:
                    line = lines.get(timeout=patience)
                except queue.Empty:
                    tried.tried += 1
                    tried.lost.append(f"{kind} {at}: no end within {WAIT_SECONDS:.0f} s")
                    return at + 1
                if not line:
                    break
                word, place, *rest = line.rstrip("\n").split(" ", 4)
                if word == "at":
                    at, patience = int(place), WAIT_SECONDS
                    continue
                patience = START_SECONDS
                at = int(place) + 1
                peak, spent, said = int(rest[0]), float(rest[1]), rest[2]
                tried.tried += 1
                tried.slowest, tried.peak = max(tried.slowest, spent), max(tried.peak, peak)
                if said != "ok":
                    tried.lost.append(f"{kind} {place}: {said}")
                elif spent > SECONDS:
                    tried.lost.append(f"{kind} {place}: took {spent:.1f} s")
                elif peak > MEGABYTES:
                    tried.lost.append(f"{kind} {place}: {peak} MB")
                    return at
                else:
                    tried.survived += 1
            if at < last and time.monotonic() < until:
                tried.tried += 1
                tried.lost.append(f"{kind} {at}: the process ended: {child.stderr.read()[-300:]}")
                return at + 1
            return at
        finally:
            child.kill()
            child.communicate()


def _hear(out: IO[str], lines: queue.Queue[str]) -> None:
    for line in out:
        lines.put(line)
    lines.put("")


def main() -> int:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    budget = float(os.environ.get("HOSTILE_SECONDS", "inf"))
    lines = []
    for kind, share in KINDS.items():
        lines.append(Tried(f"hostile input: {kind}"))
        play(kind, first, first + round(cases * share), lines[-1], time.monotonic() + budget * share)
        print(f"  {kind}: slowest {lines[-1].slowest:.2f} s, peak {lines[-1].peak} MB", file=sys.stderr, flush=True)
    played = sum(line.tried for line in lines)
    if played < cases:
        print(f"{played:,} of {cases:,} were played in the time given.", file=sys.stderr)
    return print_table(lines)


if __name__ == "__main__":
    sys.exit(main())
