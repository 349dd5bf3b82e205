"""`surefoot trace heat`: which part of a unit warms which, and what fewer watts would do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, pairs, show

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.heat import SharedHeat


def register(traces: typer.Typer) -> None:
    """Add `trace heat`."""
    traces.command("heat")(heat)


def heat(
    unit: UnitName,
    run: Annotated[list[int] | None, typer.Option("--run", help="Only these runs. Default: all as cooled now.")] = None,
    change: Annotated[
        list[str] | None, typer.Option("--change", metavar="PART=WATTS", help="As gpu=-20: the GPU draws 20 W less.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Say which part warms which, from runs with CPU and GPU loaded in turn and together."""
    from surefoot.guide.heat import shared_heat, watts_of

    with open_journal() as journal:
        card = journal.unit(unit)
        found = shared_heat(journal, card, run or (), watts_of(pairs(change, "--change")))
    show(_for_tools(unit, found), lambda: _view(found), as_json)


def _for_tools(unit_name: str, found: SharedHeat) -> dict[str, Any]:
    fit = found.coupling
    return {
        "unit": unit_name,
        "sources": fit.sources,
        "kelvin_per_watt": fit.matrix,
        "low": fit.low,
        "high": fit.high,
        "residual_celsius": fit.residual_celsius,
        "assumption": fit.assumption,
        "runs": found.run_ids,
        "points": found.points,
        "cooling": found.cooling,
        "changes_celsius": found.changes,
    }


def _view(found: SharedHeat) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    fit = found.coupling
    table = Table(title="Degrees for each watt (95 % interval)", box=None, pad_edge=False, title_justify="left")
    table.add_column("this part warms")
    for name in fit.sources:
        table.add_column(f"by 1 W of {name.upper()}", justify="right")
    for row, name in enumerate(fit.sources):
        cells = [
            f"{fit.matrix[row, place]:.2f} ({fit.low[row, place]:.2f} to {fit.high[row, place]:.2f})"
            for place in range(len(fit.sources))
        ]
        table.add_row(name.upper(), *cells)
    runs = ", ".join(str(number) for number in found.run_ids)
    parts: list[RenderableType] = [table, Text(f"From {found.points} settled stretches of runs {runs}.")]
    parts.append(Text(f"Taken for granted: {fit.assumption}."))
    parts += [
        Text(f"{name.upper()}: {one.celsius:+.1f} °C ({one.low:+.1f} to {one.high:+.1f}) after that change of power.")
        for name, one in found.changes.items()
    ]
    return parts
