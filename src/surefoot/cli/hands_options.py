"""Options that every command with hands shares."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Unattended = Annotated[bool, typer.Option("--unattended", help="Nobody will answer; needs hands of kind 'command'.")]
Agreed = Annotated[bool, typer.Option("--i-agree", help="I have read SAFETY.md and agree.")]
SensorsFrom = Annotated[
    Path | None,
    typer.Option(
        "--sensors-from", metavar="FILE", help="Also read sensors from a log that another program keeps writing."
    ),
]
On = Annotated[
    str | None,
    typer.Option("--on", metavar="USER@HOST", help="The unit is that machine, reached by ssh; the journal stays here."),
]
ThisMachine = Annotated[
    bool, typer.Option("--this-machine", help="This machine is the unit, though the journal knows another.")
]
