"""`surefoot score` and `surefoot reading`: what was measured beside the runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surefoot.cli.common import JsonFlag, UnitName, open_journal, show
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.attach import Written

RunOption = Annotated[int | None, typer.Option("--run", metavar="ID", help="The run it belongs to.")]
ConfigOption = Annotated[
    str | None, typer.Option("--config", metavar="NAME", help="The configuration it belongs to: name or number.")
]
NoteOption = Annotated[str, typer.Option("--note", help="Anything else.")]


def register(app: typer.Typer) -> None:
    """Add `score` and `reading`."""
    app.command("score")(score)
    app.command("reading")(reading)


def score(
    unit: UnitName,
    name: Annotated[str | None, typer.Argument(metavar="[NAME]", help="What was scored; the scene of a log.")] = None,
    value: Annotated[float | None, typer.Argument(metavar="[VALUE]", help="The score.")] = None,
    measure: Annotated[str, typer.Option("--unit", help="Unit of the value: points, fps, s, ...")] = "points",
    run: RunOption = None,
    config: ConfigOption = None,
    lower: Annotated[bool, typer.Option("--lower-is-better", help="A smaller value is the better one.")] = False,
    frames: Annotated[
        Path | None, typer.Option("--frames", metavar="FILE", help="A log with the milliseconds of every frame.")
    ] = None,
    note: NoteOption = "",
    sure: Annotated[bool, typer.Option("--sure", help="Keep a value far from the others of its name.")] = False,
    as_json: JsonFlag = False,
) -> None:
    """Keep a score of a run or a configuration: points, frames per second, or a frame-time log."""
    from surefoot.guide.attach import target_of, write_frames, write_score

    if frames is not None:
        if value is not None:
            raise BadInput("give a value or a frame log, not both.", where="surefoot score")
        data = _read(frames)
        with open_journal() as journal:
            target = target_of(journal, unit, run, config)
            written = write_frames(journal, unit, target, data, name=name or "", where=str(frames))
    else:
        if name is None or value is None:
            raise BadInput("give a NAME and a VALUE, or --frames FILE.", where="surefoot score")
        fields = {"name": name, "value": value, "unit": measure, "higher_is_better": not lower, "note": note}
        with open_journal() as journal:
            written = write_score(journal, unit, target_of(journal, unit, run, config), fields, sure=sure)
    show(written, lambda: _view(written), as_json)


def reading(
    unit: UnitName,
    kind: Annotated[str, typer.Argument(metavar="KIND", help="sound, surface, wall-power or battery.")],
    value: Annotated[float, typer.Argument(metavar="VALUE", help="dB(A), °C, W or percent.")],
    background: Annotated[
        float | None, typer.Option("--background", help="Sound level with the unit off, dB(A).")
    ] = None,
    place: Annotated[str, typer.Option("--place", help="Where: of the microphone, or the spot.")] = "",
    idle: Annotated[bool, typer.Option("--idle/--load", help="Read at idle, or under load.")] = False,
    run: RunOption = None,
    config: ConfigOption = None,
    note: NoteOption = "",
    as_json: JsonFlag = False,
) -> None:
    """Keep what an instrument said: sound level, surface temperature, wall power, battery charge."""
    from surefoot.guide.attach import target_of, write_reading

    fields = {
        "kind": kind,
        "value": value,
        "background": background,
        "place": place,
        "state": "idle" if idle else "load",
        "note": note,
    }
    with open_journal() as journal:
        written = write_reading(journal, unit, target_of(journal, unit, run, config), fields)
    show(written, lambda: _view(written), as_json)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise BadInput(f"cannot be read: {error.strerror}.", where=str(path)) from None


def _view(written: Written) -> list[RenderableType]:
    from rich.text import Text

    from surefoot.scores.metrics import of_reading, of_score

    lines = [Text(f"Kept for {written.target.words}:")]
    for _, kept in written.scores:
        metric = of_score(kept)
        lines.append(Text(f"  {metric.label}: {kept.value:.{metric.decimals}f} {kept.unit}"))
    for _, read in written.readings:
        made = of_reading(read)
        lines.append(Text(f"  {made.label}: {read.value:g} {made.unit}"))
    if written.sound:
        lines.append(Text(f"  the unit alone: {written.sound.level:.1f} dB(A); {written.sound.note}"))
    if written.surface:
        lines += [Text(f"  {written.surface.words}."), Text(f"  {written.surface.caution}", style="dim")]
    lines += [Text(f"Note: {note}.") for note in written.notes]
    if written.definitions:
        lines.append(Text("What the figures are:"))
        lines += [Text(f"  {name}: {says}.", style="dim") for name, says in written.definitions.items()]
    return [*lines]
