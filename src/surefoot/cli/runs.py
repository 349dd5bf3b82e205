"""`surefoot runs`: what the journal holds of a unit's runs."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, show
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.runs import Run
    from surefoot.units import Setting, Unit

# A word always stands beside the shape, so that neither colour nor a shape is ever needed.
_SHAPES = {"held": ("●", "green"), "void": ("○", "dim"), "overheat": ("△", "yellow"), "open": ("…", "cyan")}
_FAILED = ("✕", "red")


def register(app: typer.Typer) -> None:
    """Add `runs`."""
    app.command("runs")(runs)


def runs(
    unit: UnitName,
    run_id: Annotated[int | None, typer.Option("--run", metavar="ID", help="Show one run in full.")] = None,
    outcome: Annotated[
        list[str] | None, typer.Option("--outcome", help="Only runs that ended so, or `open`; repeat for several.")
    ] = None,
    knob: Annotated[str | None, typer.Option("--knob", help="Only runs that searched or moved this knob.")] = None,
    last: Annotated[int | None, typer.Option("--last", metavar="N", help="Only the last N of them.")] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print as CSV (RFC 4180) and nothing else.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """List the runs of a unit, oldest first, or show one in full."""
    from surefoot.journal.listing import as_record, chosen, csv_text

    if as_csv and as_json:
        raise BadInput("--csv and --json exclude each other.")
    with open_journal() as journal:
        card = journal.unit(unit)
        everything = journal.runs(unit)
        found = chosen(everything, card, outcomes=outcome or (), knob=knob, last=last)
        if run_id is not None:
            found = [run for run in everything if run.id == run_id]
            if not found:
                raise BadInput(f"unit {unit!r} has no run {run_id}.", remedy=f"`surefoot runs {unit}` lists them.")
        traced = journal.runs_with_trace(unit)
    records = [{**as_record(run, card), "has_trace": run.id in traced} for run in found]
    if as_csv:
        # Bytes, so that Windows does not turn the line ends of RFC 4180 into others.
        sys.stdout.flush()
        typer.echo(csv_text(found, card).encode(), nl=False)
        return
    if run_id is not None:
        show(records[0], lambda: _in_full(found[0], card, run_id in traced), as_json)
        return
    show(records, lambda: _table(found, card, len(everything)), as_json)


def _table(found: Sequence[Run], card: Unit, among: int) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not found:
        what = "no run fits" if among else "no runs yet; `surefoot tune` or `surefoot log` makes the first"
        return [Text(f"{card.name}: {what}.")]
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("run", justify="right")
    table.add_column("when", width=10)
    table.add_column("setting", min_width=12, overflow="fold")
    table.add_column("load", overflow="fold")
    table.add_column("minutes", justify="right")
    table.add_column("outcome, judged by", min_width=16, overflow="fold")
    for run in found:
        ended = Text.assemble(_outcome(run))
        if run.closing is not None:
            ended.append(f"\n{run.closing.judged_by}", style="dim")
        table.add_row(
            str(run.id),
            f"{run.opened_at.astimezone():%Y-%m-%d\n%H:%M}",
            Text(_lines(run.setting, card)),
            Text(run.plan.load),
            _minutes(run.minutes),
            ended,
        )
    shown = f"{len(found)} of {among} runs" if len(found) < among else _count(among, "run")
    return [Text(f"{card.name}: {shown}; local times"), table]


def _in_full(run: Run, card: Unit, traced: bool) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column(style="bold")
    table.add_column(overflow="fold")

    def say(name: str, value: object) -> None:
        if value not in (None, ""):
            table.add_row(name, value if isinstance(value, Text) else Text(str(value)))

    where = run.plan.conditions
    say("opened", f"{run.opened_at.astimezone():%Y-%m-%d %H:%M:%S %Z}")
    say("setting", run.setting.describe(card))
    if run.setting != run.plan.setting:
        say("asked for", run.plan.setting.describe(card))
    say("load", run.plan.load)
    say("purpose", run.plan.purpose + (f", knob {run.plan.knob}" if run.plan.knob else ""))
    say("minutes", f"{_minutes(run.minutes)} of {_minutes(run.plan.planned_minutes)} planned")
    say("outcome", Text.assemble(_outcome(run)))
    if run.closing is not None:
        say("", run.closing.outcome.says)
        say("judged by", run.closing.judged_by)
        if not run.closing.timed:
            say("", "the moment of the failure is not known, only that it was within these minutes")
        for name, value in run.closing.detail.items():
            say(name, value)
        say("closed", f"{run.closed_at.astimezone():%Y-%m-%d %H:%M:%S %Z}" if run.closed_at else None)
    say("room", None if where.ambient_celsius is None else f"{where.ambient_celsius:g} °C")
    for name in ("power_mode", "cooling", "supply", "firmware", "driver", "operating_system"):
        say(name.replace("_", " "), getattr(where, name))
    say("heartbeats", f"{run.heartbeats}, {'with' if traced else 'without'} a sensor trace")
    say("source", run.plan.source)
    say("note", run.plan.note)
    say("closing note", run.closing.note if run.closing else None)
    return [Text(f"Run {run.id} of {card.name}"), table]


def _outcome(run: Run) -> tuple[str, str]:
    from surefoot.journal.listing import outcome_of

    word = outcome_of(run)
    shape, style = _SHAPES.get(word, _FAILED)
    return f"{shape} {word}", style


def _lines(setting: Setting, card: Unit) -> str:
    return setting.describe(card).replace(", ", "\n")


def _minutes(minutes: float) -> str:
    return f"{minutes:.1f}" if minutes < 100 else f"{minutes:.0f}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")
