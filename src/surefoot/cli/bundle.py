"""`surefoot bundle`: a unit's journal as one portable file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, show, working
from surefoot.wording import count

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
    whole: Annotated[
        bool,
        typer.Option("--whole", help="With user and host names, paths, serial numbers, and commands that hold such."),
    ] = False,
    as_json: JsonFlag = False,
) -> None:
    """Write a unit with its card history, runs, traces, scores and readings into one file."""
    from rich.text import Text

    from surefoot.journal.bundle import save_bundle

    with open_journal() as journal:
        done = save_bundle(journal, unit, file, overwrite=force, whole=whole)
    said = f"{done.unit_name}: {count(done.runs, 'run')} written to {done.path} ({done.bytes / 1e6:.1f} MB)."
    left = f"Left out: {', '.join(done.left_out)}. `--whole` writes all of it." if done.left_out else ""
    show(done, lambda: [Text(text) for text in (said, left) if text], as_json)


def load(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A bundle made by `bundle save`, or a folder of them.")],
    name: Annotated[str | None, typer.Option("--as", metavar="NAME", help="Enter the unit under this name.")] = None,
    as_json: JsonFlag = False,
) -> None:
    """Enter the unit of a bundle into the journal, with all its times; of a unit that is here, what is new."""
    from rich.text import Text

    from surefoot.journal.bundle import load_bundle

    if file.expanduser().is_dir():
        return _load_all(file.expanduser(), name, as_json)
    with open_journal() as journal:
        done = load_bundle(journal, file, name=name)
    show(done, lambda: [Text(text) for text in _loaded(done)], as_json)


def _loaded(done: Bundled) -> list[str]:
    renamed = f", there named {done.named}," if done.unit_name != done.named else ""
    left = f"It was saved without: {', '.join(done.left_out)}." if done.left_out else ""
    if not done.merged:
        lines = [f"{done.unit_name}{renamed} is in the journal with {count(done.runs, 'run')}.", left]
        return [text for text in lines if text]
    new = f"{done.added} new of {done.runs}" if done.added else f"nothing new among {done.runs}"
    return [f"{done.unit_name}{renamed} was in the journal: {new} runs.", *(f"! {text}" for text in done.conflicts)]


def _load_all(folder: Path, name: str | None, as_json: bool) -> None:
    from rich.text import Text

    from surefoot.errors import BadInput
    from surefoot.journal.bundle_many import load_folder

    if name is not None:
        raise BadInput(
            "--as names one unit, and this is a folder.", where=str(folder), remedy="Load that one by itself."
        )
    with open_journal() as journal, working("loading") as told:
        found = load_folder(journal, folder, told=lambda done, of: told(f"{done} of {of} bundles"))
    lines = [text for one in found.bundles for text in _loaded(one)]
    lines += [f"! {path.name}: {why}" for path, why in found.refused]
    lines.append(f"{len(found.bundles)} bundles loaded, {len(found.refused)} refused.")
    show(found, lambda: [Text(text) for text in lines], as_json)
    if found.refused:
        raise typer.Exit(2)
