"""`surefoot knobs`: what this machine documents as settable, as lines for a unit's card."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from surefoot.cli.common import JsonFlag, show

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.rig.offers import Offer


def register(app: typer.Typer) -> None:
    """Add `knobs`."""
    app.command("knobs")(knobs)


def knobs(as_json: JsonFlag = False) -> None:
    """List what the kernel and the makers document as settable here, as ready lines for a unit's card."""
    from surefoot.rig.elevated.means import means_here
    from surefoot.rig.offers import card_lines, offers

    found = offers()
    lines = card_lines(found, means_here())
    show({"offers": found, "card": lines}, lambda: _view(found, lines), as_json)
    if not found:
        raise typer.Exit(1)


def _view(found: list[Offer], lines: str) -> list[RenderableType]:
    from rich.table import Table
    from rich.text import Text

    if not found:
        return [
            Text(
                "Nothing that may be set is documented on this machine. Set values in the maker's own utility instead: "
                "hands of kind 'ask'."
            )
        ]
    grid = Table.grid(padding=(0, 2, 0, 0))
    for one in found:
        now = "" if one.now is None else f"now {one.now:g} {one.unit}"
        state = Text(f"not now: {one.why_not}", style="yellow") if one.why_not else Text("can be set", style="green")
        if one.by_rights:
            state = Text("with the administrator's rights", style="yellow")
        grid.add_row(Text(one.door, style="bold"), one.says, now, state)
    parts: list[RenderableType] = [grid]
    if lines:
        parts += [
            Text("\nFor the unit's card:\n", style="bold"),
            Text(lines, no_wrap=True),
            Text(
                "Limits are your own to lower: no two units are alike, and the maker's warranty terms decide whether "
                "you may.",
                style="dim",
            ),
        ]
    return parts
