"""The one table that every script here prints: what, tried, survived, lost."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Protocol

SHOWN = 12


class Line(Protocol):
    """One line of the table."""

    what: str
    tried: int
    survived: int
    lost: list[str]


def print_table(lines: Iterable[Line]) -> int:
    """Print it; the exit code: 0 when nothing was lost."""
    kept = list(lines)
    wide = max([len(line.what) for line in kept] + [4])
    print(f"{'what':<{wide}}  {'tried':>8}  {'survived':>8}  {'lost':>6}")
    for line in kept:
        print(f"{line.what:<{wide}}  {line.tried:>8,}  {line.survived:>8,}  {len(line.lost):>6,}")
    for line in kept:
        for text in line.lost[:SHOWN]:
            print(f"! {text}")
    return int(any(line.lost for line in kept))
