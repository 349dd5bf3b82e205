"""`surefoot journal`: the file itself: whether it is well, a copy of it, and what is readable of a damaged one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli import journal_thin
from surefoot.cli.common import JsonFlag, show, working
from surefoot.errors import AnswerIsNo
from surefoot.wording import count

if TYPE_CHECKING:
    from surefoot.journal.inspection import Inspected
    from surefoot.journal.rescue import Rescued

SHOWN = 20
At = Annotated[
    Path | None, typer.Option("--at", metavar="FILE", help="This journal in place of the one in the data directory.")
]
Force = Annotated[bool, typer.Option("--force", help="Write over a file of that name.")]


def register(app: typer.Typer) -> None:
    """Add `journal` and what belongs to it."""
    group = typer.Typer(
        help="The journal's file: check it, back it up, rescue a damaged one, thin old traces.", no_args_is_help=True
    )
    group.command("check")(check)
    group.command("backup")(backup)
    group.command("rescue")(rescue)
    journal_thin.register(group)
    app.add_typer(group, name="journal")


def check(at: At = None, as_json: JsonFlag = False) -> None:
    """Say what is wrong with the journal, and where; reads only. Exit code 1 when something is."""
    from rich.text import Text

    from surefoot.journal import journal_path
    from surefoot.journal.inspection import inspect_journal

    with working("Reading every record"):
        found = inspect_journal(journal_path(at))
    show({**_plain(found), "well": found.well}, lambda: [Text(line) for line in _told(found)], as_json)
    if not found.well:
        raise AnswerIsNo(
            f"the journal is damaged in {len(found.faults)} place(s).",
            where=str(found.path),
            remedy="Copy the whole folder to another disk first and check that disk. `surefoot journal rescue FILE` "
            "brings what is readable into a new file; a backup or bundle may hold more.",
        )


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the copy: a file, or a folder for it.")],
    at: At = None,
    force: Force = False,
    as_json: JsonFlag = False,
) -> None:
    """Copy the journal into one file, also while a session writes it. The copy can be put in its place."""
    from rich.text import Text

    from surefoot.journal import journal_path
    from surefoot.journal.backup import back_up

    done = back_up(journal_path(at), file, overwrite=force)
    said = f"{count(done.runs, 'run')} copied to {done.path} ({done.bytes / 1e6:.1f} MB)."
    show(done, lambda: Text(said, no_wrap=True), as_json)


def rescue(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new journal to write.")],
    at: At = None,
    force: Force = False,
    as_json: JsonFlag = False,
) -> None:
    """Bring every readable record of a damaged journal into a new file; what could not be read is counted."""
    from rich.text import Text

    from surefoot.journal import journal_path
    from surefoot.journal.rescue import rescue as bring

    with working("Reading what can be read"):
        done = bring(journal_path(at), file, overwrite=force)
    show(done, lambda: [Text(line) for line in _brought(done)], as_json)


def _plain(found: Inspected) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(found)


def _told(found: Inspected) -> list[str]:
    head = f"{found.path}: schema {found.schema}, {count(found.units, 'unit')}, {count(found.runs, 'run')}"
    lines = [head + (f", {found.open_runs} of them open." if found.open_runs else ".")]
    lines += [f"! {fault}" for fault in found.faults[:SHOWN]]
    if len(found.faults) > SHOWN:
        lines.append(f"! and {len(found.faults) - SHOWN} more; --json lists them all.")
    lines += [f"  {note}" for note in found.notes]
    return lines if found.faults else [*lines, "Every page and every record was read: it is well."]


def _brought(done: Rescued) -> list[str]:
    lost = sum(done.lost.values())
    lines = [f"{count(done.runs, 'run')} of {count(done.units, 'unit')} brought into {done.path}."]
    lines += [f"  {text}" for text in done.words[:SHOWN]]
    if len(done.words) > SHOWN:
        lines.append(f"  and {len(done.words) - SHOWN} more; --json lists them all.")
    if not lost:
        return [*lines, "No record was left behind."]
    counts = ", ".join(f"{count} of {table.replace('_', ' ')}" for table, count in sorted(done.lost.items()))
    return [
        *lines,
        f"Could not be read: {counts}. What a damaged page still held in plain may be wrong as well: hold a run at "
        "the known-stable setting before you trust it.",
    ]
