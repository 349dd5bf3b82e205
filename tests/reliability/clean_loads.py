"""The built-in loads for real minutes: nothing is reported, and memory and handles stay as they were.

    python tests/reliability/clean_loads.py [NAME ...] [--minutes 10]

Each named load (all that run here when none is) is run by `surefoot load run`, one after the other, at the setting that
is there; nothing is applied. Every five seconds what the command and all its workers hold is looked at: memory of
their own and file handles. Flat: the highest of the last tenth of the time is no more than a tenth above, and no handle
more than, the highest of the second tenth, by when everything that is loaded once has been; a main-memory load gives
memory back when others need it, which is no growth. An hour of one: ``--minutes 60``. Linux.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import psutil

EVERY_SECONDS = 5.0
GROWTH = 1.10
LOOKS_A_LINE = 12


def look(process: psutil.Process) -> tuple[int, int]:
    """What the process and all below it hold: bytes of their own and file handles."""
    own = handles = 0
    for one in (process, *process.children(recursive=True)):
        try:
            own, handles = own + one.memory_full_info().uss, handles + one.num_fds()
        except (psutil.NoSuchProcess, psutil.AccessDenied, FileNotFoundError):
            continue
    return own, handles


def run(name: str, minutes: float) -> tuple[dict[str, Any], list[tuple[float, int, int]], str]:
    """Run one load; what it said at its end (empty when it broke), every look with its moment, and its last words."""
    command = [sys.executable, "-m", "surefoot", "load", "run", name, "--minutes", f"{minutes:g}", "--json"]
    looks: list[tuple[float, int, int]] = []
    with tempfile.TemporaryFile("w+") as said, tempfile.TemporaryFile("w+") as words:
        load = subprocess.Popen(command, stdout=said, stderr=words)
        process = psutil.Process(load.pid)
        try:
            while load.poll() is None:
                time.sleep(EVERY_SECONDS)
                if load.poll() is None:
                    looks.append((time.monotonic(), *look(process)))
                    if len(looks) % LOOKS_A_LINE == 0:
                        _, own, handles = looks[-1]
                        at = len(looks) * EVERY_SECONDS / 60
                        print(f"  {at:4.0f} min: {own / 1e6:,.1f} MB, {handles} handles", flush=True)
        finally:
            if load.poll() is None:
                load.terminate()
                load.wait()
            # A busy machine may take minutes to start it: what it held while it grew up is no growth.
            while looks and time.monotonic() - looks[0][0] > 60 * minutes:
                looks.pop(0)
        said.seek(0)
        words.seek(0)
        text, last = said.read(), words.read().strip().splitlines()
    return (json.loads(text) if text.strip().startswith("{") else {}), looks, last[-1] if last else ""


def judge(looks: list[tuple[float, int, int]]) -> tuple[bool, str]:
    """Whether memory and handles stayed as they were, and the figures."""
    tenth = len(looks) // 10
    if tenth < 1:
        return False, f"{len(looks)} looks are too few to tell whether memory grows"
    early, late = looks[tenth : 2 * tenth], looks[-tenth:]
    was, now = (max(own for _, own, _ in part) for part in (early, late))
    had, has = (max(handles for _, _, handles in part) for part in (early, late))
    flat = now <= GROWTH * was and has <= had
    return flat, f"{was / 1e6:,.1f} to {now / 1e6:,.1f} MB of their own, {had} to {has} handles, {len(looks)} looks"


def main() -> int:
    """Run what is named; 0 where all were clean and flat."""
    asked = argparse.ArgumentParser()
    asked.add_argument("names", nargs="*")
    asked.add_argument("--minutes", type=float, default=10)
    given = asked.parse_args()
    if not Path("/proc/self/fd").exists():
        print("Linux only.")
        return 1
    clean = True
    for name in given.names or _here():
        began = time.strftime("%H:%M:%S")
        print(f"{began} {name}: {given.minutes:g} min", flush=True)
        said, looks, last = run(name, given.minutes)
        flat, figures = judge(looks)
        held = bool(said.get("held"))
        clean &= held and flat
        peaks = "".join(f", {part} {value:.0f}" for part, value in sorted(said.get("peaks", {}).items()))
        ended = "held" if held else "DID NOT HOLD"
        print(f"{name}: {ended} for {said.get('minutes', 0.0):.2f} min, {'flat' if flat else 'NOT FLAT'}")
        print(f"    {figures}{peaks}; load average {psutil.getloadavg()[1]:.1f}")
        print(f"    {said.get('message') or last}", flush=True)
        for score, value in said.get("detail", {}).get("scores", {}).items():
            print(f"      {score}: {value['value']:,.5g} {value['unit']}")
    return 0 if clean else 1


def _here() -> list[str]:
    from surefoot.rig.registry import loads, why_not

    return [name for name in loads() if name != "by-hand" and not why_not(name)]


if __name__ == "__main__":
    sys.exit(main())
