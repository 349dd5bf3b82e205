"""`surefoot check`: what this machine offers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import JsonFlag, show

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from surefoot.rig.places import Place
    from surefoot.rig.survey import LoadOffer, Row, SensorReading, Survey


def register(app: typer.Typer) -> None:
    """Add `check`."""
    app.command("check")(check)


def check(
    every: Annotated[bool, typer.Option("--all", help="Every sensor on a line of its own.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Show what this machine offers: sensors, loads, the journal's place, and what cannot be judged here."""
    from surefoot.errors import JournalError
    from surefoot.journal import Journal
    from surefoot.journal.filesystem import ground_of
    from surefoot.journal.place import journal_path
    from surefoot.rig.places import look_at
    from surefoot.rig.survey import survey

    found = survey()
    path = journal_path()
    place = look_at(path.parent)
    trouble = "" if place.writable else place.why_not
    ground = ground_of(path.parent)
    if ground.kind == "network":
        trouble = (
            trouble or f"a journal is not written over a network ({ground.name}): set SUREFOOT_HOME to a disk here"
        )
    units: list[str] | None = None
    if path.exists():
        try:
            with Journal.open(read_only=True) as journal:
                units = [unit.name for unit in journal.units()]
        except JournalError as error:
            trouble = error.message()
    journal_facts: dict[str, Any] = {
        "path": path,
        "exists": path.exists(),
        "writable": place.writable,
        "free_bytes": place.free_bytes,
        "file_system": ground.name,
        "caution": ground.words,
        "units": units,
        "trouble": trouble,
    }
    show({**_plain(found), "journal": journal_facts}, lambda: _view(found, place, journal_facts, every), as_json)
    raise typer.Exit(3 if trouble else 0)


def _plain(found: Survey) -> dict[str, Any]:
    import dataclasses

    return dataclasses.asdict(found)


def _view(found: Survey, place: Place, journal: dict[str, Any], every: bool) -> list[RenderableType]:
    from rich.text import Text

    return [
        _facts(found),
        _heading("Sensors"),
        _sensors(found.sensors, every),
        _heading("Loads"),
        _loads(found.loads),
        _heading("Journal"),
        *_journal(place, journal),
        _heading("Who answers what here"),
        _answers(found),
        Text(
            "A growing log: any delimited file that another program keeps writing; give it with --sensors-from.", "dim"
        ),
        _heading("A second machine"),
        *(_bullet(f"{text[0].upper()}{text[1:]}.") for text in found.second_machine),
        _heading("What cannot be judged here"),
        *([_bullet(text) for text in found.missing] or [Text("Nothing is missing.")]),
    ]


def _heading(text: str) -> RenderableType:
    from rich.text import Text

    return Text(f"\n{text}", style="bold")


def _bullet(text: str) -> RenderableType:
    from rich.table import Table

    grid = Table.grid(padding=(0, 1, 0, 0))
    grid.add_row("-", text)
    return grid


def _grid() -> Table:
    from rich.table import Table

    return Table.grid(padding=(0, 2, 0, 0))


def _facts(found: Survey) -> RenderableType:
    grid = _grid()
    grid.add_row("System", found.operating_system)
    grid.add_row("Boot", found.boot_identity)
    if found.power_mode:
        grid.add_row("Power mode", found.power_mode)
    grid.add_row("Processors", f"{len(found.processors)} that this process may use")
    for device in found.graphics:
        grid.add_row("Graphics", f"{device['name']} ({device['kind']}, {device['backend']})")
    return grid


def _sensors(readings: tuple[SensorReading, ...], every: bool) -> RenderableType:
    from rich.text import Text

    from surefoot.rig.survey import rows

    if not readings:
        return Text("None can be read.")
    grid = _grid()
    for row in rows(readings, most=10_000 if every else 4):
        grid.add_row(row.channels, _value(row), Text(row.unit), Text(row.source, style="dim"))
    grid.columns[0].overflow = "fold"
    grid.columns[1].justify = "right"
    return grid


def _value(row: Row) -> str:
    if row.low is None or row.high is None:
        return "no value"
    low, high = f"{row.low:,.6g}", f"{row.high:,.6g}"
    return low if low == high else f"{low} to {high}"


def _answers(found: Survey) -> RenderableType:
    from rich.text import Text

    grid = _grid()
    for one in found.answers:
        nobody = Text.assemble(("nobody", "yellow"), f"; try {one.remedy}" if one.remedy else "")
        grid.add_row(one.question, Text(one.by, style="green") if one.is_answered else nobody)
    return grid


def _loads(offers: tuple[LoadOffer, ...]) -> RenderableType:
    from rich.text import Text

    grid = _grid()
    for offer in offers:
        what = "done by you" if offer.by_hand else ", ".join(offer.exercises)
        state = Text(f"not here: {offer.why_not}", style="yellow") if offer.why_not else Text("ready", style="green")
        grid.add_row(offer.name, what, state)
    return grid


def _journal(place: Place, facts: dict[str, Any]) -> list[RenderableType]:
    from rich.text import Text

    lines: list[RenderableType] = [Text(str(facts["path"]), overflow="fold")]
    if facts["trouble"]:
        lines.append(Text(f"Cannot be used: {facts['trouble']}", style="red"))
    elif facts["units"] is None:
        lines.append(Text("Not there yet; it is made on first use. The folder can be written to.", style="green"))
    else:
        lines.append(Text(f"Can be written to. Units: {', '.join(facts['units']) or 'none yet'}.", style="green"))
    if facts["caution"]:
        lines.append(Text(facts["caution"], style="yellow"))
    if place.free_bytes is not None:
        lines.append(Text(f"{place.free_bytes / 1e9:,.1f} GB free there."))
    return lines
