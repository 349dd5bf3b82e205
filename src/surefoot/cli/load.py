"""`surefoot load`: what loads there are, and one of them tried by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, attended, console, show

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.live import Live

    from surefoot.guide.try_load import Look, Tried
    from surefoot.units import Unit

PIPED_EVERY_SECONDS = 30.0
WHOLE_PARTS = ("cpu.temperature", "gpu.temperature")
OfUnit = Annotated[
    str | None, typer.Option("--unit", metavar="UNIT", help="A unit's own loads too, and its temperature ceilings.")
]


def register(app: typer.Typer) -> None:
    """Add the group."""
    group = typer.Typer(no_args_is_help=True, help="The loads: what each finds, and one tried by itself.")
    group.command("list")(listed)
    group.command("run")(run)
    app.add_typer(group, name="load")


def listed(unit: OfUnit = None, as_json: JsonFlag = False) -> None:
    """What each load finds, what it needs, and how hot it got here in runs that were kept."""
    from surefoot.guide.loads_here import loads_here
    from surefoot.journal import Journal
    from surefoot.journal.place import journal_path

    card = _unit(unit)
    if journal_path().exists():
        with Journal.open(read_only=True) as journal:
            found = loads_here(card, journal)
    else:
        found = loads_here(card, None)
    show(found, lambda: _table(found), as_json)


def run(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A load of `surefoot load list`.")] = "cpu",
    minutes: Annotated[float, typer.Option("--minutes", "-m", help="For so long.")] = 10.0,
    per_core: Annotated[
        bool, typer.Option("--per-core", help="One core at a time, the others idle: which is the weakest.")
    ] = False,
    unit: OfUnit = None,
    as_json: JsonFlag = False,
) -> None:
    """Run one load at the setting that is there now, checked, with a live view; nothing is applied and nothing kept."""
    import time

    from surefoot.cli.voice import TerminalVoice
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.loads_here import load_to_try
    from surefoot.guide.try_load import try_load
    from surefoot.rig.registry import sensors
    from surefoot.rig.sampler import Sampler

    card = _unit(unit)
    load = load_to_try(name, card, per_core, TerminalVoice(console(stderr=True), attended=attended()))
    sampler = Sampler(sensors())
    with stoppable(), _View(as_json) as view:
        tried = try_load(
            load,
            minutes,
            sample=sampler.read,
            show=view.look,
            seconds=time.monotonic,
            sleep=time.sleep,
            ceilings_celsius=card.ceilings_celsius if card else None,
        )
    show(tried, lambda: _ending(tried), as_json)
    raise typer.Exit(0 if tried.held else 1)


def _unit(name: str | None) -> Unit | None:
    if name is None:
        return None
    from surefoot.journal import Journal

    with Journal.open(read_only=True) as journal:
        return journal.unit(name)


class _View:
    """The live table on a terminal; in a pipe a line every half minute; with ``--json`` on the error stream."""

    def __init__(self, as_json: bool) -> None:
        self._console = console(stderr=as_json)
        self._live: Live | None = None
        self._said = 0.0

    def __enter__(self) -> _View:
        if self._console.is_terminal:
            from rich.live import Live

            self._live = Live(console=self._console, transient=True, auto_refresh=False)
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def look(self, look: Look) -> None:
        """Show it as it is now."""
        if self._live is not None:
            self._live.update(_now(look, self._console.height - 4), refresh=True)
        elif look.seconds - self._said >= PIPED_EVERY_SECONDS:
            self._said = look.seconds
            self._console.print(f"{_clock(look.seconds)}  {look.phase}: {_checked(look)}", markup=False)


def _checked(look: Look) -> str:
    return f"{sum(row.verified for row in look.rows):,d} units checked, all right" if look.rows else "running"


def _clock(seconds: float) -> str:
    return f"{int(seconds) // 60:d}:{int(seconds) % 60:02d}"


def _now(look: Look, most_rows: int) -> RenderableType:
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    head = Text(f"{_clock(look.seconds)} of {_clock(look.planned_seconds)}  {look.phase}")
    table = Table(box=None, pad_edge=False)
    table.add_column("where", no_wrap=True)
    table.add_column("work", no_wrap=True, min_width=11)
    for title in ("checked", "°C", "MHz"):
        table.add_column(title, justify="right", no_wrap=True)
    for row in look.rows[: max(1, most_rows)]:
        table.add_row(row.where, row.doing, f"{row.verified:,d} right", _number(row.celsius), _number(row.mhz))
    left = len(look.rows) - most_rows
    return Group(head, table, *([Text(f"and {left} more")] if left > 0 else []))


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:,.0f}"


def _ending(tried: Tried) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    mark, style = ("+", "green") if tried.held else ("!", "bold red")
    held = f"{tried.load} held for {tried.minutes:.1f} min." if tried.held else f"{tried.load}: {tried.outcome.says}."
    parts: list[RenderableType] = [Text(f"{mark} {held}", style=style), Text(tried.message)]
    facts = Table.grid(padding=(0, 2, 0, 0))
    for name, score in tried.detail.get("scores", {}).items():
        facts.add_row(name, f"{score['value']:,.4g} {score['unit']}")
    for name, value in sorted(tried.peaks.items()):
        facts.add_row(f"highest {name}", f"{value:,.0f}")
    if facts.row_count:
        parts.append(facts)
    return parts


def _table(found: tuple[Any, ...]) -> RenderableType:
    from rich.table import Table

    table = Table(box=None, pad_edge=False)
    table.add_column("load", no_wrap=True)
    table.add_column("finds", ratio=1)
    table.add_column("needs", max_width=14)
    table.add_column("hot here", max_width=16)
    for one in found:
        needs = f"not here: {one.why_not}" if one.why_not else one.needs
        heat = ", ".join(f"{name.split('.')[0]} {one.peaks[name]:.0f} °C" for name in WHOLE_PARTS if name in one.peaks)
        table.add_row(one.name, one.finds, needs, heat or ("" if one.runs else "not run yet"))
    return table
