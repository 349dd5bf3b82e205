"""`surefoot bundle`: a unit's journal as one portable file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, show

if TYPE_CHECKING:
    from surefoot.journal.bundle import Bundled


def register(app: typer.Typer) -> None:
    """Add `bundle` and what belongs to it."""
    group = typer.Typer(help="A unit's journal as one portable file.", no_args_is_help=True)
    group.command("save")(save)
    group.command("load")(load)
    app.add_typer(group, name="bundle")


def save(
    unit: UnitName,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it.")],
    force: Annotated[bool, typer.Option("--force", help="Write over a file of that name.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Write a unit with its card history, runs, traces, scores and readings into one file."""
    from rich.text import Text

    from surefoot.journal.bundle import save_bundle

    with open_journal() as journal:
        done = save_bundle(journal, unit, file, overwrite=force)
    said = f"{done.unit_name}: {done.runs} runs written to {done.path} ({done.bytes / 1e6:.1f} MB)."
    show(done, lambda: Text(said), as_json)


def load(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A bundle made by `bundle save`.")],
    name: Annotated[str | None, typer.Option("--as", metavar="NAME", help="Enter the unit under this name.")] = None,
    as_json: JsonFlag = False,
) -> None:
    """Enter the unit of a bundle into the journal, with all its times; of a unit that is here, what is new."""
    from rich.text import Text

    from surefoot.journal.bundle import load_bundle

    with open_journal() as journal:
        done = load_bundle(journal, file, name=name)
    show(done, lambda: [Text(text) for text in _loaded(done)], as_json)


def _loaded(done: Bundled) -> list[str]:
    renamed = f", there named {done.named}," if done.unit_name != done.named else ""
    if not done.merged:
        return [f"{done.unit_name}{renamed} is in the journal with {done.runs} runs."]
    new = f"{done.added} new of {done.runs}" if done.added else f"nothing new among {done.runs}"
    return [f"{done.unit_name}{renamed} was in the journal: {new} runs.", *(f"! {text}" for text in done.conflicts)]
