"""Run as a process by power_cuts.py, under the recorder: does one thing and marks what was acknowledged.

Arguments: what to do, the file for the marks, and what that needs.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from surefoot.journal import Journal
from surefoot.journal.store import Store
from surefoot.units import Knob, Unit

# As if nothing but plain writes were there: the recorder sees those.
shutil._USE_CP_SENDFILE = False  # type: ignore[attr-defined]

UNIT = Unit(name="shoebox-3", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),), ceilings_celsius={"cpu": 95})


def mark(words: str) -> None:
    """Say that something was acknowledged; the recorder keeps it in its place among the writes."""
    with open(MARKS, "ab", buffering=0) as file:
        file.write(words.encode())


def marking() -> None:
    """Have every step of the journal marked once it was acknowledged."""
    plain = Store.transaction

    @contextmanager
    def marked(self: Store, *, copy_down: bool = True) -> Iterator[Store]:
        outer = not self.connection.in_transaction
        with plain(self, copy_down=copy_down) as store:
            yield store
        if outer and "home" in str(self.path.parent.name):
            mark("step")

    Store.transaction = marked  # type: ignore[method-assign]


def tune(home: Path, runs: str) -> None:
    """A session on a virtual unit whose edge is known."""
    from surefoot.guide.bench import Bench
    from surefoot.guide.session import Options, Session
    from surefoot.guide.settle import Settling
    from surefoot.guide.voice import Unattended
    from surefoot.rehearsal.machine import VirtualMachine
    from surefoot.rehearsal.virtual import VirtualUnit

    with Journal.open(home / "journal.sqlite") as journal:
        if not journal.units():
            journal.add_unit(UNIT)
        machine = VirtualMachine(UNIT, {"cpu-core": VirtualUnit(95, 6)}, seed=4)
        options = Options(
            agreed=True,
            max_runs=int(runs),
            sample_seconds=30,
            heartbeat_seconds=120,
            settling=Settling(at_most_minutes=0.2),
        )
        try:
            Session(Bench(journal, UNIT, machine, Unattended()), options).run()
        except BaseException as error:  # noqa: BLE001 (a virtual machine that goes down ends the session as a real one)
            print(type(error).__name__, error, file=sys.stderr)


def command(home: Path, *arguments: str) -> None:
    """One command line."""
    os.environ["SUREFOOT_HOME"] = str(home)
    from typer.testing import CliRunner

    from surefoot.cli.main import app

    done = CliRunner().invoke(app, list(arguments))
    if done.exit_code:
        raise SystemExit(f"{arguments}: {done.output} {done.exception!r}")
    mark("done")


def opening(home: Path) -> None:
    """Open the journal, which brings an older one forward."""
    with Journal.open(home / "journal.sqlite"):
        mark("done")


DOES: dict[str, Callable[..., Any]] = {"tune": tune, "command": command, "open": opening}

if __name__ == "__main__":
    what, MARKS, home, *rest = sys.argv[1:]
    marking()
    DOES[what](Path(home), *rest)
