"""Hostile input, counted: generated cards, tables, logs, frame logs and bundles, each read as a user would have it.

    python tests/reliability/hostile.py [CASES] [FIRST] [--jobs N] [--seconds S] [--keep FILE] [--after FILE]

100,000 cases; FIRST: the number to begin with; N of them side by side, the same cases and counts. A case is lost when
it ends in anything but a result or a clear error, takes more than 5 s of processor time or 30 s by the clock, brings
the process past 500 MB, writes outside its folder, starts a process or connects to anything. After S seconds it stops
and says how many were played. `--keep`: the lines are written there as well, for `everything.py --add`; `--after`: it
goes on where the lines kept there end.
"""

from __future__ import annotations

import argparse
import queue
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import IO

sys.path.insert(0, str(Path(__file__).parent))

from hostile_inputs import KINDS
from slices import cut, mixed, played
from table import Counted, keep, kept, print_table

CHILD = Path(__file__).with_name("hostile_child.py")
SECONDS = 5.0
"""Of processor time: what else runs on the machine takes none of that."""
WAIT_SECONDS = 30.0
START_SECONDS = 120.0
MEGABYTES = 500
BATCH = 1000


def play(kind: str, first: int, last: int, tried: Counted, until: float = float("inf")) -> None:
    """Play the cases of one kind, in children that are ended when one hangs or eats."""
    while first < last and time.monotonic() < until:
        first = _batch(kind, first, min(last, first + BATCH), tried, until)


def _batch(kind: str, first: int, last: int, tried: Counted, until: float) -> int:
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
                tried.at_most("slowest, s", spent)
                tried.at_most("peak, MB", peak)
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


def of_kind(kind: str, first: int, last: int, until: float = float("inf")) -> Counted:
    """One slice; ``until``: a moment of the system's clock."""
    tried = Counted(f"hostile input: {kind}")
    play(kind, first, last, tried, time.monotonic() + until - time.time())
    return tried


def count(
    cases: int, first: int = 0, jobs: int = 1, seconds: float = float("inf"), after: Sequence[Counted] = ()
) -> list[Counted]:
    """So many cases over all kinds, from that number on; ``after``: whole slices that were played already are not
    played again."""
    each = {kind: round(cases * share) for kind, share in KINDS.items()}
    size = max(1, min(BATCH, max(each.values()) // max(1, jobs)))
    done = {line.what.rpartition(" ")[2]: line.tried // size * size for line in after}
    slices = [(kind, cut(kind, first + done.get(kind, 0), first + many, size)) for kind, many in each.items()]
    return played(of_kind, mixed(slices), jobs, seconds)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("cases", type=int, nargs="?", default=100_000)
    asked.add_argument("first", type=int, nargs="?", default=0)
    asked.add_argument("--jobs", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=float("inf"))
    asked.add_argument("--keep", type=Path)
    asked.add_argument("--after", type=Path)
    told = asked.parse_args()
    before = kept([told.after]) if told.after else []
    lines = count(told.cases, told.first, told.jobs, told.seconds, before)
    for line in lines:
        print(f"  {line.what}: {line.most}", file=sys.stderr, flush=True)
    if told.keep:
        keep(lines, told.keep)
    tried = sum(line.tried for line in lines)
    if tried < told.cases:
        print(f"{tried:,} of {told.cases:,} were played in the time given.", file=sys.stderr)
    return print_table(lines)


if __name__ == "__main__":
    sys.exit(main())
