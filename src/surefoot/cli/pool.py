"""`surefoot pool`: evidence of many units of a kind in one file, and what it knows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, attended, show, sure, working
from surefoot.wording import count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.pooling import Shared
    from surefoot.pool.build import Built
    from surefoot.pool.survey import Survey

PoolFile = Annotated[Path, typer.Argument(metavar="FILE", help="A pool made by `pool build`.")]


def register(app: typer.Typer) -> None:
    """Add `pool` and what belongs to it."""
    group = typer.Typer(
        help="Evidence of many units of a kind: lends the search a prior, never a setting.", no_args_is_help=True
    )
    group.command("build")(build)
    group.command("show")(show_)
    app.add_typer(group, name="pool")


def build(
    inputs: Annotated[
        list[Path], typer.Argument(metavar="INPUT...", help="Journals, bundles, pools, or folders of them.")
    ],
    to: Annotated[Path, typer.Option("--to", metavar="FILE", help="The pool to write.")] = Path("pool.parquet"),
    by: Annotated[str, typer.Option("--by", metavar="PART", help="Part of the card that makes a kind.")] = "platform",
    yes: Annotated[bool, typer.Option("--yes", help="Write without asking after showing what is shared.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over a file of that name.")] = False,
    dask: Annotated[
        str | None, typer.Option("--dask", metavar="ADDRESS", help="Build on the Dask cluster there.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Gather evidence into one Parquet file: no names, no settings to copy; what is in it is shown first."""
    from rich.text import Text

    from surefoot.cli.common import console
    from surefoot.guide.pooling import build_pool, found_inputs, look, rows_from

    journals, pools = found_inputs([path.expanduser() for path in inputs])
    with working("reading") as told:
        rows, refused = rows_from(journals, by=by, told=told)
    shared = look(rows, refused)
    err = console(stderr=True)
    for text in _shared(shared):
        err.print(Text(text))
    if not yes and attended():
        sure(f"Write {to}?", default=True, abort=True)
    with working("building") as told:
        done = build_pool(rows, pools, to.expanduser(), overwrite=force, told=told, dask=dask)
    show(done, lambda: Text(_built(done)), as_json)


def show_(file: PoolFile, as_json: JsonFlag = False) -> None:
    """What a pool knows of each kind, and what speaks against it."""
    from surefoot.pool.survey import survey

    with working("fitting"):
        found = survey(file.expanduser())
    show(found, lambda: _view(found), as_json)


def _shared(shared: Shared) -> list[str]:
    parts = [f"To be shared: {shared.runs} rows of {shared.units} units. Every text in them:"] if shared.runs else []
    parts += [f"  {name}: {', '.join(texts)}" for name, texts in shared.texts.items()]
    return parts + [f"! left out: {text}" for text in shared.refused]


def _built(done: Built) -> str:
    said = (
        f"{done.path}: {count(done.runs, 'run')} of {count(done.units, 'unit')}, "
        f"{count(done.failures, 'failure')} in {done.hours:.1f} h of load"
    )
    if done.twice:
        said += f"; {done.twice} were in several inputs and count once"
    if done.left_out:
        said += f"; {done.left_out} rows are no evidence and were left out"
    return f"{said} ({done.bytes / 1e6:.1f} MB)."


def _view(found: Survey) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, pad_edge=False)
    for name in ("platform", "knob"):
        table.add_column(name, overflow="fold")
    for name in ("units", "runs", "edge", "spread", "decade", "weight"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found.groups:
        measure = one.kind.measure
        cells = ["-", "-", "-", "-"]
        if one.edge is not None:
            cells = [
                f"{one.edge:.0f} ± {one.edge_sure:.0f} {measure}", f"{one.edge_spread:.0f}", f"{one.per_decade:.1f}",
                f"{one.weight:.0%}",
            ]  # fmt: skip
        table.add_row(one.kind.platform, one.kind.knob, str(one.units), str(one.runs), *cells)
    parts: list[RenderableType] = [table]
    parts.append(
        Text(
            "edge: middle of the units' edges (one failure an hour), as depth. spread: of units around it. "
            "decade: depth per decade of hazard. weight: of the pool against knowing nothing, for a unit not tried yet."
        )
    )
    return parts + [Text(f"! {one.says}", style="yellow") for one in found.findings]
