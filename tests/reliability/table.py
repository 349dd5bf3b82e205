"""The one table that every script here prints: what, tried, survived, lost."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Protocol

SHOWN = 12


class Line(Protocol):
    """One line of the table."""

    what: str
    tried: int
    survived: int
    lost: list[str]


@dataclass
class Counted:
    """One line, as most scripts make it. ``most``: the greatest seen of figures; ``sums``: what adds up."""

    what: str
    tried: int = 0
    survived: int = 0
    lost: list[str] = field(default_factory=list)
    most: dict[str, float] = field(default_factory=dict)
    sums: dict[str, float] = field(default_factory=dict)

    def judge(self, well: bool, words: str) -> None:
        """One more that was tried; ``words`` where it is lost."""
        self.tried += 1
        if well:
            self.survived += 1
        else:
            self.lost.append(words)

    def at_most(self, name: str, value: float) -> None:
        """Remember the greatest."""
        self.most[name] = max(self.most.get(name, value), value)

    def count(self, name: str, value: float = 1) -> None:
        """Add up."""
        self.sums[name] = self.sums.get(name, 0) + value


def added(lines: Iterable[Counted]) -> list[Counted]:
    """One line for each thing that was tried, in the order in which they come first."""
    found: dict[str, Counted] = {}
    for line in lines:
        into = found.setdefault(line.what, Counted(line.what))
        into.tried += line.tried
        into.survived += line.survived
        into.lost += line.lost
        for name, value in line.most.items():
            into.at_most(name, value)
        for name, value in line.sums.items():
            into.count(name, value)
    return list(found.values())


def keep(lines: Iterable[Counted], file: Path) -> None:
    """Write them behind what the file has already, a line of JSON each: slices of other hours and machines add up."""
    with file.open("a", encoding="utf-8") as out:
        for line in lines:
            out.write(json.dumps(asdict(line), ensure_ascii=False) + "\n")


def kept(files: Iterable[Path]) -> list[Counted]:
    """What the files tell, added up."""
    texts = (text for file in files for text in file.read_text(encoding="utf-8").splitlines() if text.strip())
    return added(Counted(**json.loads(text)) for text in texts)


def as_counted(line: Any) -> Counted:
    """A line of another make."""
    return line if isinstance(line, Counted) else Counted(line.what, line.tried, line.survived, list(line.lost))


def print_table(lines: Iterable[Line]) -> int:
    """Print it; the exit code: 0 when nothing was lost."""
    kept_ = list(lines)
    wide = max([len(line.what) for line in kept_] + [4])
    print(f"{'what':<{wide}}  {'tried':>8}  {'survived':>8}  {'lost':>6}")
    for line in kept_:
        print(f"{line.what:<{wide}}  {line.tried:>8,}  {line.survived:>8,}  {len(line.lost):>6,}")
    for line in kept_:
        for text in line.lost[:SHOWN]:
            print(f"! {text}")
    return int(any(line.lost for line in kept_))
