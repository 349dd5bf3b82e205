"""`surefoot report`: what was gained, as a page and as pictures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, console, open_journal, show, working

if TYPE_CHECKING:
    from rich.console import RenderableType


def register(app: typer.Typer) -> None:
    """Add `report`."""
    app.command("report")(report)


def report(
    unit: UnitName,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Where to write the page (default: UNIT-report.html).")
    ] = None,
    pictures: Annotated[
        Path | None,
        typer.Option(
            "--pictures", metavar="DIR", help="Also write each chart as SVG, PNG for video and print, and CSV."
        ),
    ] = None,
    baseline: Annotated[
        str | None,
        typer.Option("--baseline", metavar="NAME", help="The configuration that others are compared with."),
    ] = None,
    open_it: Annotated[bool, typer.Option("--open", help="Open the page in the browser.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Write one HTML page that needs no network: what holds, how it was found, what was gained."""
    from surefoot.report.page import report_files

    out = out or Path(f"{_file_name(unit)}-report.html")
    err = console(stderr=True)
    with open_journal() as journal, working(f"Reading what is known of {unit}") as doing:
        made = report_files(
            journal,
            unit,
            out,
            pictures=pictures,
            baseline=baseline,
            tell=lambda name: err.print(f"drawing {name}"),
            doing=doing,
        )
    if open_it:
        typer.launch(made.page.resolve().as_uri())
    show(made, lambda: _view(made), as_json)


def _file_name(unit_name: str) -> str:
    from surefoot.report.words import slug

    return slug(unit_name)


def _view(made: Any) -> list[RenderableType]:
    from rich.text import Text

    # Paths stand alone on their line, unbroken, so that they can be copied.
    parts: list[RenderableType] = [Text("report:"), Text(f"  {made.page}", no_wrap=True, overflow="ignore")]
    if made.files:
        parts += [Text(f"{len(made.files)} files in:"), Text(f"  {made.folder}", no_wrap=True, overflow="ignore")]
    if made.empty:
        parts.append(Text("Sections with nothing to show yet, and what would fill them:"))
        parts += [Text(f"  {one.title}: {one.command}") for one in made.empty]
    return parts
