"""What could not be understood, with its line and column; many of a kind are told as one, with a count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

FIRST = 5


@dataclass(frozen=True)
class Problem:
    """Something in a file that could not be understood.

    ``line``: 1-based line of the file (the first, when ``count`` is above 1), or None for the whole file;
    ``column``: header text, or None for the whole line; ``count``: how many cells or lines it stands for.
    """

    line: int | None
    column: str | None
    text: str
    count: int = 1


@dataclass
class Ledger:
    """Collects problems, questions and notes while a file is read.

    A note is something understood that the user should know; a question is something assumed that a person must
    confirm before anything is stored.
    """

    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    questions: list[Problem] = field(default_factory=list)

    def ask(self, text: str, *, line: int | None = None, column: str | None = None) -> None:
        """Add one question, once."""
        found = Problem(line, column, text)
        if found not in self.questions:
            self.questions.append(found)

    def problem(self, text: str, *, line: int | None = None, column: str | None = None) -> None:
        """Add one problem."""
        self.problems.append(Problem(line, column, text))

    def many(self, what: str, lines: Sequence[int], *, column: str | None = None, example: str = "") -> None:
        """Add one problem that stands for all the lines given; ``what`` reads after a count: "cells not understood"."""
        if not len(lines):
            return
        shown = example if len(example) <= 40 else example[:37] + "..."
        said = f", first {shown!r}" if example else ""
        if len(lines) == 1:
            text = f"{what}: {shown!r}" if example else what
        else:
            listed = ", ".join(str(int(line)) for line in lines[:FIRST]) + (", ..." if len(lines) > FIRST else "")
            text = f"{what} ({len(lines)} times, at lines {listed}{said})"
        self.problems.append(Problem(int(lines[0]), column, text, len(lines)))

    def note(self, text: str) -> None:
        """Add a note, once."""
        if text not in self.notes:
            self.notes.append(text)

    def take(self, other: Ledger) -> None:
        """Add all that another has."""
        self.problems += other.problems
        for note in other.notes:
            self.note(note)
        self.questions += [one for one in other.questions if one not in self.questions]

    def in_order(self) -> tuple[Problem, ...]:
        """The problems by line; those of the whole file first."""
        return tuple(sorted(self.problems, key=lambda item: (item.line or 0, item.column or "")))


def spans(lines: Sequence[int]) -> str:
    """Line numbers in words: ``line 7``, ``lines 3 to 5, 9``."""
    parts: list[str] = []
    start = previous = None
    for line in [*lines, None]:
        if start is not None and (line is None or line != previous + 1):  # type: ignore[operator]
            parts.append(str(start) if start == previous else f"{start} to {previous}")
            start = None
        if line is None:
            break
        if start is None:
            start = line
        previous = line
    shown = ", ".join(parts[:FIRST]) + (", ..." if len(parts) > FIRST else "")
    return ("line " if len(lines) == 1 else "lines ") + shown
