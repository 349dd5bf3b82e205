"""`surefoot agent`: serves a bench on another machine over standard input and output; started by it, through ssh."""

from __future__ import annotations

import os
import sys

import typer


def register(app: typer.Typer) -> None:
    """Add `agent`."""
    app.command("agent")(agent)


def agent() -> None:
    """Run sensors, loads and hands here for `--on` at another machine; not for typing."""
    from surefoot.errors import BadInput
    from surefoot.guide.interrupts import stoppable
    from surefoot.guide.remote.agent import Agent

    if sys.stdin.isatty():
        raise BadInput("this is started by the machine at the bench.", remedy="Give `surefoot tune UNIT --on` there.")
    # The line is for messages alone: whatever else prints goes to standard error.
    line = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    with stoppable():
        raise typer.Exit(Agent(sys.stdin.buffer, line).serve())
