"""What every command shares: the journal's place, how a result is printed, how an error ends."""

from __future__ import annotations

import codecs
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.errors import BadInput
from surefoot.harmless import for_eyes, for_json

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType
    from rich.table import Table

    from surefoot.journal import Journal

JsonFlag = Annotated[bool, typer.Option("--json", help="Print the result as JSON and nothing else.")]
UnitName = Annotated[str, typer.Argument(metavar="UNIT", help="Name of the unit.")]

PIPE_WIDTH = 80
LEAST_WIDTH = 40


def console(stderr: bool = False) -> Console:
    """A console that honours NO_COLOR, COLUMNS and pipes, and is 80 columns wide where nothing says how wide."""
    from surefoot.cli.terminal import HarmlessConsole

    made = HarmlessConsole(stderr=stderr, soft_wrap=False)
    if not made.is_terminal:
        made = HarmlessConsole(stderr=stderr, width=_pipe_width(), no_color=True)
    return made


def sure(question: str, *, default: bool, abort: bool = False) -> bool:
    """A yes or no of whoever is at the terminal."""
    return typer.confirm(for_eyes(question), default=default, abort=abort, err=True)


def _pipe_width() -> int:
    text = os.environ.get("COLUMNS", "")
    return max(LEAST_WIDTH, int(text)) if text.isascii() and text.isdigit() and len(text) < 6 else PIPE_WIDTH


def terminal_width() -> int:
    """Columns to write in: of the terminal, of COLUMNS, or 80 where nothing says how many."""
    return console().width


def wrapped(text: str) -> str:
    """A message in lines of whole words on a terminal; for a pipe's reader in one piece, as a path to copy is."""
    import textwrap

    err = console(stderr=True)
    if not err.is_terminal:
        return text
    lines = [
        textwrap.wrap(line, err.width, break_long_words=False, break_on_hyphens=False) for line in text.split("\n")
    ]
    return "\n".join("\n".join(line) for line in lines)


class Fitting:
    """A table where it fits; where it is too wide each row as words, so that no figure is cut off."""

    def __init__(self, table: Table) -> None:
        self._table = table

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[RenderableType]:
        """What is printed."""
        from rich.text import Text

        if console.measure(self._table, options=options.update(max_width=10_000)).maximum <= options.max_width:
            yield self._table
            return
        if self._table.title:
            yield Text(str(self._table.title), style="bold")
        heads = [str(column.header) for column in self._table.columns]
        name = ""
        for row in zip(*(column.cells for column in self._table.columns), strict=True):
            first, *rest = (str(cell) for cell in row)
            # A name that stands once for several rows is left blank in the others.
            name = first or name
            figures = (f"{head} {cell}" for head, cell in zip(heads[1:], rest, strict=True) if cell)
            yield Text(f"{name}: " + ", ".join(figures))


@contextmanager
def working(words: str) -> Iterator[Callable[[str], None]]:
    """Say on a terminal what is being done while it takes its time; the line goes when it is done.

    Gives what to call with new words. A pipe or a file is told nothing.
    """
    err = console(stderr=True)
    if not err.is_terminal:
        yield lambda _: None
        return
    with err.status(words, spinner="line") as line:
        yield line.update


def open_journal() -> Journal:
    """The journal in the data directory (`SUREFOOT_HOME`, or the user data directory), created on first use.

    One that is there and cannot be written is opened for reading, and said to be: what writes is refused then.
    """
    from surefoot.journal import Journal

    return Journal.open_as_can(lambda why: sys.stderr.write(for_eyes(f"surefoot: {why}\n")))


def attended() -> bool:
    """Whether there is somebody at a terminal to answer a question."""
    return sys.stdin.isatty()


def show(result: Any, view: Callable[[], RenderableType | list[RenderableType]], as_json: bool) -> None:
    """Print a result: as JSON for tools, or the view for people. ``result`` must be ready for `to_json`."""
    if as_json:
        sys.stdout.write(to_json(result) + "\n")
        return
    out = console()
    made = view()
    for part in made if isinstance(made, list) else [made]:
        # What must stay in one piece (a path to copy) says so; a pipe's reader gets it whole.
        out.print(part, soft_wrap=getattr(part, "no_wrap", None) is True)


def to_json(result: Any) -> str:
    """JSON text of a result; models, dataclasses, arrays, dates and enums included, NaN as null.

    Signs that standard output's encoding may not have are written as JSON's escapes, so that none is lost, and so is
    whatever a terminal would obey.
    """
    whole = codecs.lookup(sys.stdout.encoding or "utf-8").name.startswith("utf")
    return for_json(json.dumps(plain(result), indent=2, ensure_ascii=not whole, allow_nan=False))


def plain(value: Any) -> Any:
    """The value in JSON's own types."""
    import dataclasses
    import datetime
    import enum
    import math
    from pathlib import Path

    if hasattr(value, "model_dump"):
        return plain(value.model_dump())
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, enum.Enum):
        return plain(value.value)
    if isinstance(value, bool) or value is None or isinstance(value, int | str):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    raise TypeError(f"{type(value).__name__} cannot be written as JSON")


def pairs(texts: list[str] | None, what: str) -> dict[str, str]:
    """``NAME=VALUE`` options as a dictionary. Raises BadInput for one without ``=``."""
    found: dict[str, str] = {}
    for text in texts or []:
        name, equals, value = text.partition("=")
        if not equals or not name.strip():
            raise BadInput(f"{text!r} is not NAME=VALUE.", where=what)
        found[name.strip()] = value.strip()
    return found
