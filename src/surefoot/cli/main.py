"""The `surefoot` command: every group of commands lives in a file of its own and is registered here."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import shutil
import sys
from importlib import import_module
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from surefoot import __version__
from surefoot.cli.common import wrapped
from surefoot.errors import BadInput, SurefootError
from surefoot.harmless import for_eyes
from surefoot.threads import one_each

# One entry a file in this folder; each has `register(app)`. Heavy libraries are imported inside the commands.
GROUPS = (
    "unit",
    "tune",
    "recall",
    "living",
    "runs",
    "bundle",
    "pool",
    "fleet",
    "journal",
    "log",
    "check",
    "knobs",
    "agent",
    "load",
    "measure",
    "score",
    "trace",
    "compare",
    "trial",
    "report",
    "rehearse",
    "demo",
)

INTERRUPTED = 130
"""Exit code of a command that was stopped by Ctrl-C: 128 and the signal's number, as shells have it."""


class Hinting(TyperGroup):
    """Says where a verb is that stands under another command, or what may have been meant."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Raises BadInput for a command that there is not."""
        from difflib import get_close_matches

        if args and not args[0].startswith("-") and args[0] not in self.commands:
            verb = args[0]
            under = [name for name, group in self.commands.items() if verb in getattr(group, "commands", {})]
            near = [f"{name} {verb}" for name in under] or get_close_matches(verb, self.commands, n=3)
            meant = " or ".join(f"`surefoot {name}`" for name in near)
            remedy = f"Perhaps {meant}?" if near else "`surefoot --help` lists the commands."
            raise BadInput(f"there is no command {verb!r}.", remedy=remedy)
        return super().resolve_command(ctx, args)


app = typer.Typer(
    cls=Hinting,
    name="surefoot",
    help="Find how far one machine's undervolt or overclock goes, prove that it holds, remember it, show the gain.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    # The boxes cut long option names off where there is little room; plain help folds them.
    rich_markup_mode=None if shutil.get_terminal_size().columns < 80 else "rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"surefoot {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Global options."""


for _group in GROUPS:
    import_module(f"surefoot.cli.{_group}").register(app)


def run() -> None:
    """Entry point: one clear message and an exit code for an error, never a traceback."""
    _speak_in_what_there_is()
    one_each()
    try:
        try:
            app()
        finally:
            # Here, where what goes wrong can still be said, and not when Python ends.
            if sys.stdout is not None:
                sys.stdout.flush()
    except SurefootError as error:
        _say(error.message())
        raise SystemExit(error.exit_code) from None
    except KeyboardInterrupt:
        _say("stopped.")
        _let_go()
        raise SystemExit(INTERRUPTED) from None
    except BrokenPipeError:
        # The reader of our pipe went away (`| head`); that is its right.
        _let_go()
        raise SystemExit(0) from None
    except OSError as error:
        if error.filename is not None:
            _say(f"{error.filename}: {error.strerror or error}.")
            raise SystemExit(3) from None
        # What was printed could not be: the terminal is gone, or the disk of the file that it went to is full.
        gone = error.errno in (errno.EIO, errno.ENXIO, errno.EBADF)
        _say("stopped: the terminal is gone." if gone else f"this could not be printed: {error.strerror or error}.")
        _let_go()
        raise SystemExit(INTERRUPTED if gone else 3) from None


def _speak_in_what_there_is() -> None:
    """Let a sign that the terminal's encoding has not, or that is none at all, be replaced: it is no reason to stop."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _say(text: str) -> None:
    with contextlib.suppress(OSError, ValueError, AttributeError):
        sys.stderr.write(for_eyes(wrapped(f"surefoot: {text}") + "\n"))
        sys.stderr.flush()


def _let_go() -> None:
    """What still waits to be printed has nowhere to go; without this Python would try once more, and complain."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for number in (1, 2):
            os.dup2(nowhere, number)
        os.close(nowhere)
