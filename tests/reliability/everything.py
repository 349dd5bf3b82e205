"""All the long parts as one table: what, tried, survived, lost.

    python tests/reliability/everything.py [--only PART ...] [--share S] [--jobs N] [--seconds T] [--keep FILE]
    python tests/reliability/everything.py --add FILE ...

Whole it takes hours, most of them the resets'; so it can be played in slices: some parts only, a share of the counts
(0.01: a hundredth), so long at most for kills and hostile files. What the table says was tried is what was really
played. ``--keep`` writes the lines behind those that the file has; ``--add`` plays nothing and prints the table of
such files together, from as many hours and machines as they come. What cannot be played here is said with its reason.
Needs Linux; a C compiler for the cuts, the right to mount for full disks, QEMU and the administrator's rights for
resets, an idle machine for scale.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import faults
import hostile
import kills
import long_hauls
import power_cuts
import qemu_guest
import resets
import scale
from table import Counted, added, as_counted, keep, kept, print_table

GUARDIAN = Path(__file__).parents[1] / "guardian" / "test_guardian.py"
KILLS, HOSTILE, RESETS, GUARDED, STATES_A_PART = 1000, 100_000, 20, 100, 2500


@dataclass(frozen=True)
class Asked:
    """``share``: of the counts; ``jobs``: side by side; ``seconds``: for what can stop at any moment."""

    share: float = 1.0
    jobs: int = 1
    seconds: float = float("inf")


def _cuts(asked: Asked) -> Iterable[Any]:
    if power_cuts.recorder() is None:
        return _not_tried("power cuts", "needs Linux and a C compiler")
    return power_cuts.count(None if asked.share >= 1 else max(1, round(STATES_A_PART * asked.share)))


def _kills(asked: Asked) -> Iterable[Any]:
    return kills.count(max(10, round(KILLS * asked.share)), jobs=asked.jobs, seconds=asked.seconds)


def _hostile(asked: Asked) -> Iterable[Any]:
    return hostile.count(max(20, round(HOSTILE * asked.share)), jobs=asked.jobs, seconds=asked.seconds)


def _scale(asked: Asked) -> Iterable[Any]:
    return scale.count(*(max(20.0, whole * asked.share) for whole in (1000, 200_000, 2000)))


def _resets(asked: Asked) -> Iterable[Any]:
    if words := qemu_guest.why_not():
        return _not_tried("resets", words)
    qemu_guest.fetched()
    many = max(1, round(RESETS * asked.share))
    with tempfile.TemporaryDirectory(prefix="resets-") as folder:
        found: list[Any] = []
        for how in (resets.inside, resets.on):
            (Path(folder) / how.__name__).mkdir()
            found += resets.play(how, many, Path(folder) / how.__name__, max(2, asked.jobs)).values()
        return found


def _guardian(asked: Asked) -> Iterable[Any]:
    """The guardian's own long test: a hundred kills, all of which must hold."""
    if asked.share < 1:
        return _not_tried("guardian: kill -9 at a random moment", "only whole")
    line = Counted("guardian: kill -9 at a random moment, stock each time")
    test = [sys.executable, "-m", "pytest", "-q", "-m", "long", str(GUARDIAN), "-k", "hundred"]
    done = subprocess.run(test, capture_output=True, text=True, check=False)
    passed = done.returncode == 0 and re.search(r"\b1 passed", done.stdout) is not None
    line.tried, line.survived = GUARDED, GUARDED if passed else 0
    if not passed:
        line.lost.append(done.stdout[-300:])
    return [line]


PARTS: dict[str, Callable[[Asked], Iterable[Any]]] = {
    "cuts": _cuts,
    "kills": _kills,
    "guardian": _guardian,
    "faults": lambda asked: faults.count(),
    "hostile": _hostile,
    "hauls": lambda asked: long_hauls.count(asked.share),
    "scale": _scale,
    "resets": _resets,
}


def _not_tried(what: str, why: str) -> list[Counted]:
    return [Counted(f"{what} (not tried: {why})")]


def play(parts: Iterable[str], asked: Asked, told: Callable[[list[Counted]], object]) -> list[Counted]:
    """Play the parts one after the other; ``told`` is told of the lines of each as soon as it is at its end."""
    found: list[Counted] = []
    for part in parts:
        lines = [as_counted(line) for line in PARTS[part](asked)]
        told(lines)
        found += lines
    return added(found)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    asked.add_argument("--share", type=float, default=1.0)
    asked.add_argument("--jobs", type=int, default=1)
    asked.add_argument("--seconds", type=float, default=float("inf"))
    asked.add_argument("--keep", type=Path)
    asked.add_argument("--add", type=Path, nargs="+")
    told = asked.parse_args()
    if told.add:
        lines = kept(told.add)
    else:
        lines = play(
            told.only,
            Asked(told.share, told.jobs, told.seconds),
            lambda found: keep(found, told.keep) if told.keep else None,
        )
    code = print_table(lines)
    for line in lines:
        if figures := {**line.most, **line.sums}:
            print(f"  {line.what}: {', '.join(f'{name}: {value:,.6g}' for name, value in figures.items())}")
    return code


if __name__ == "__main__":
    sys.exit(main())
