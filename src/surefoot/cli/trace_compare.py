"""`surefoot trace compare`: two traces side by side, aligned at the start of their load, with a picture."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, open_journal, show
from surefoot.cli.trace_of_run import run_with_trace, width_here
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.runs import Run
    from surefoot.thermal.side_by_side import SideBySide
    from surefoot.units import Unit

_DRAWN = ("temperature", "clock", "power")


def register(traces: typer.Typer) -> None:
    """Add `trace compare`."""
    traces.command("compare")(compare)


def compare(
    first: Annotated[int, typer.Argument(metavar="RUN_A", help="The run compared with.")],
    second: Annotated[int, typer.Argument(metavar="RUN_B", help="The run compared: differences are B less A.")],
    channel: Annotated[
        list[str] | None, typer.Option("--channel", help="Channel to draw, as cpu.temperature; repeat for several.")
    ] = None,
    rows: Annotated[int, typer.Option("--rows", min=3, max=20, help="Lines a picture.")] = 6,
    plain: Annotated[bool, typer.Option("--plain", help="Draw with plain characters only.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Put two traces side by side: aligned at the start of the load, with differences and their intervals."""
    from surefoot.thermal.explain import explain
    from surefoot.thermal.side_by_side import side_by_side

    with open_journal() as journal:
        one, card_one, trace_one = run_with_trace(journal, first)
        other, card_other, trace_other = run_with_trace(journal, second)
    said_one = explain(trace_one, card_one, one.plan.conditions)
    said_other = explain(trace_other, card_other, other.plan.conditions)
    found = side_by_side(trace_one, trace_other, said_one, said_other)
    if not found.channels:
        raise BadInput(
            f"runs {first} and {second} have no channel in common while both were under load.",
            remedy="`surefoot trace show RUN` names what each has.",
        )
    record = {
        "run_a": first,
        "run_b": second,
        "setting_a": one.setting.values,
        "setting_b": other.setting.values,
        **found.as_record(),
    }
    show(record, lambda: _view((one, card_one), (other, card_other), found, channel, rows, plain), as_json)


def _view(
    one: tuple[Run, Unit],
    other: tuple[Run, Unit],
    found: SideBySide,
    channels: list[str] | None,
    rows: int,
    plain: bool,
) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    parts: list[RenderableType] = [
        Text(f"{letter}: run {run.id} of {card.name}: {run.setting.describe(card)}, {run.plan.load}", style="bold")
        for letter, (run, card) in (("A", one), ("B", other))
    ]
    parts += [Text(f"Aligned at the start of the load, over {found.minutes:.1f} minutes."), Text("")]
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("", overflow="fold")
    for name in ("A", "B", "B less A", "95 %"):
        table.add_column(name, justify="right")
    for row in found.rows:
        digits = 0 if row.unit in ("MHz", "rpm") else 3 if row.unit == "V" else 1
        interval = "" if math.isnan(row.low) else f"{row.low:+.{digits}f} to {row.high:+.{digits}f}"
        table.add_row(
            f"{row.name}, {row.unit}",
            f"{row.one:.{digits}f}",
            f"{row.other:.{digits}f}",
            f"{round(row.difference, digits) + 0.0:+.{digits}f}" + (" *" if row.clear else ""),
            interval,
        )
    parts += [table, Text("")]
    parts.append(
        Text("* clear within these two runs; runs of one setting differ too: `surefoot compare` judges repeats.")
    )
    parts += [Text(f" ! {note}.") for note in found.notes]
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    simple = plain or not encoding.startswith("utf")
    parts += [Text(line, no_wrap=True) for line in _pictures(found, channels, rows, simple)]
    return parts


def _pictures(found: SideBySide, channels: list[str] | None, rows: int, plain: bool) -> list[str]:
    from surefoot.thermal.picture import draw_both

    there = {aligned.channel: aligned for aligned in found.channels}
    if channels:
        if missing := [name for name in channels if name not in there]:
            raise BadInput(
                f"the two runs have no channel {missing[0]!r} in common.", remedy=f"In common: {', '.join(there)}."
            )
        names = channels
    else:
        names = [name for name in there if name.partition(".")[2] in _DRAWN][:6]
    lines = ["", "a: run A   b: run B   #: both"]
    for name in names:
        aligned = there[name]
        lines += draw_both(
            name, aligned.minutes, aligned.one, aligned.other, width=width_here(), rows=rows, plain=plain
        )
    return lines
