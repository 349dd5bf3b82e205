"""`surefoot fleet`: all units at one look."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, open_journal, show, working
from surefoot.errors import BadInput
from surefoot.wording import count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.pool.fleet import EdgeAmong, Fleet


def register(app: typer.Typer) -> None:
    """Add `fleet`."""
    app.command("fleet")(fleet)


def fleet(
    csv: Annotated[Path | None, typer.Option("--csv", metavar="FILE", help="Also write the table as CSV.")] = None,
    page: Annotated[
        Path | None, typer.Option("--page", metavar="FILE", help="Also write a page that needs no network.")
    ] = None,
    open_it: Annotated[bool, typer.Option("--open", help="With --page: open it in the browser.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Every unit: what it is known to hold, what changed since, what is due, how its edge lies among its like."""
    from datetime import UTC, datetime

    from surefoot.guide.fleet import fleet as gather
    from surefoot.guide.recall import Present

    if open_it and page is None:
        raise BadInput("--open opens the page that --page writes.", remedy="Give --page FILE as well.")
    with open_journal() as journal, working("reading the units") as told:
        found = gather(journal, Present(datetime.now(UTC)), told=told)
        if csv is not None:
            _write(csv.expanduser(), found)
        if page is not None:
            from surefoot.report.fleet import write_fleet_page

            told("drawing the page")
            page = write_fleet_page(found, page.expanduser())
    if open_it and page is not None:
        typer.launch(page.resolve().as_uri())
    show(found, lambda: _view(found, page), as_json)


def _view(found: Fleet, page: Path | None = None) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not found.units:
        return [Text("There are no units yet. `surefoot unit add` enters one.")]
    table = Table(box=None, pad_edge=False)
    for name in ("unit", "known-stable"):
        table.add_column(name, overflow="fold")
    for name in ("hours", "crashes", "due"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found.units:
        table.add_row(one.unit, one.setting or "nothing yet", f"{one.hours:.1f}", str(one.crashes), str(len(one.due)))
    parts: list[RenderableType] = [table]
    strips = [(one.unit, edge) for one in found.units for edge in one.edges]
    if strips:
        among = Table(title="edges among units of the platform, shallow to deep", title_justify="left", box=None)
        for name in ("platform", "knob", "unit", "edge", "lies"):
            among.add_column(name, overflow="fold")
        for unit, edge in sorted(strips, key=lambda pair: (pair[1].platform, pair[1].knob, pair[0])):
            among.add_row(edge.platform, edge.knob, unit, f"{edge.depth:.0f} {edge.measure}", _strip(edge))
        parts.append(among)
    parts += [Text(f"? {one.unit}: {text}", style="yellow") for one in found.units for text in one.due]
    parts.append(
        Text(
            f"{count(len(found.units), 'unit')}, {found.known} known-stable, {found.due} with something due; "
            f"{found.hours:.1f} h under load, {count(found.crashes, 'crash', 'crashes')}."
        )
    )
    if page is not None:
        parts += [Text("page:"), Text(f"  {page}", no_wrap=True, overflow="ignore")]
    return parts


def _strip(edge: EdgeAmong) -> str:
    if not edge.others:
        return "the only one"
    return f"deeper than {edge.deeper_than} of {edge.others} ({edge.low:.0f} to {edge.high:.0f} {edge.measure})"


def _write(path: Path, found: Fleet) -> None:
    import csv

    from surefoot.harmless import for_cell

    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            out = csv.writer(file)
            out.writerow(["unit", "known-stable", "mttf_hours", "claim", "hours", "crashes", "runs", "due", "changed"])
            for one in found.units:
                bound = "" if one.mttf_hours is None else f"{one.mttf_hours:.6g}"
                out.writerow(
                    [for_cell(value) for value in (
                        one.unit, one.setting, bound, one.claim, f"{one.hours:.3f}", one.crashes, one.runs,
                        "; ".join(one.due), "; ".join(one.changed),
                    )]
                )  # fmt: skip
    except OSError as error:
        raise BadInput(f"it cannot be written: {error.strerror or error}.", where=str(path)) from None
