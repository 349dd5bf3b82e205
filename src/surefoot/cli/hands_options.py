"""Options that every command with hands shares."""

from __future__ import annotations

from typing import Annotated

import typer

Unattended = Annotated[bool, typer.Option("--unattended", help="Nobody will answer; needs hands of kind 'command'.")]
Agreed = Annotated[bool, typer.Option("--i-agree", help="I have read SAFETY.md and agree.")]
ThisMachine = Annotated[
    bool, typer.Option("--this-machine", help="This machine is the unit, though the journal knows another.")
]
