"""Run as a process by kills.py: everything imported once, then a child forked for each piece of work, to be killed.

Reads a line of JSON (what, home, files) for each; writes ``child PID``, what was acknowledged, and ``dead STATUS``.
"""

from __future__ import annotations

import json
import os
import sys
import time
import traceback
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from typer.testing import CliRunner

import surefoot.cli.main
from surefoot.errors import MachineError, SurefootError
from surefoot.guide.at_work import at_work
from surefoot.guide.bench import Bench
from surefoot.guide.living import Living, live
from surefoot.guide.measure import Measuring, measure
from surefoot.guide.session import Options, Session
from surefoot.guide.settle import Settling
from surefoot.guide.trial import Trialling, go_on
from surefoot.guide.trial_planning import begin_trial, plan_trial
from surefoot.guide.trial_state import states
from surefoot.guide.trial_words import arms_from
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import MachineDown, VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Closing, RunPlan, Trace
from surefoot.search import Goal
from surefoot.units import Knob, Setting, Unit

UNIT = Unit(name="shoebox-3", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),), ceilings_celsius={"cpu": 95})
WIDE = Goal(max_stride=500)


def say(*words: object) -> None:
    """To the parent, at once and in one piece."""
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


class Telling(Journal):
    """Says what has been acknowledged, after it was."""

    def open_run(self, plan: RunPlan, *, at: datetime | None = None) -> int:
        run_id = super().open_run(plan, at=at)
        say("open", run_id)
        return run_id

    def heartbeat(self, run_id: int, minutes: float, samples: Trace | None = None) -> None:
        super().heartbeat(run_id, minutes, samples)
        say("beat", run_id, repr(minutes))

    def close_run(self, run_id: int, closing: Closing, *, at: datetime | None = None) -> None:
        super().close_run(run_id, closing, at=at)
        say("close", run_id, closing.outcome.value)


class Slowed(VirtualMachine):
    """Virtual time that takes a little real time, so that a kill can fall anywhere."""

    def sleep(self, seconds: float) -> None:
        time.sleep(0.0005)
        super().sleep(seconds)

    def boot_id(self) -> str:
        return "the same boot"


class Lasting:
    """Hands whose setting outlives the process, in a file, as a real machine's does."""

    kind = "command"
    can_read_back = True

    def __init__(self, machine: VirtualMachine, file: Path) -> None:
        self._machine, self._file = machine, file

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        self._file.write_text(json.dumps(dict(setting.values)))
        self._machine.setting = setting
        return self.read_back(unit)

    def read_back(self, unit: Unit) -> Setting | None:
        try:
            return Setting(values=json.loads(self._file.read_text() or "{}"))
        except (OSError, ValueError) as error:
            raise MachineError(f"cannot be read back: {error}") from error


class Loaded(Slowed):
    """In use, at its load from the start."""

    def sample(self) -> dict[str, float]:
        return {**super().sample(), "cpu.busy": 92.0, "cpu.power": 100.0}


def bench(journal: Journal, home: Path, kind: type[Slowed] = Slowed) -> Bench:
    """A virtual unit whose edge is far away, with hands that last."""
    unit = journal.unit(UNIT.name)
    machine = kind(unit, {"cpu-core": VirtualUnit(400, 5)}, seed=len(journal.runs(unit.name)))
    return Bench(journal, unit, machine, Unattended(), given_hands=Lasting(machine, home.parent / "applied"), goal=WIDE)


def tune(home: Path) -> None:
    with Telling.open(home / "journal.sqlite") as journal:
        options = Options(goal=WIDE, agreed=True, max_runs=2, sample_seconds=60, heartbeat_seconds=240,
                          settling=Settling(at_most_minutes=0.2))  # fmt: skip
        Session(bench(journal, home), options).run()


def measured(home: Path) -> None:
    with Telling.open(home / "journal.sqlite") as journal:
        at = bench(journal, home)
        measuring = Measuring(setting=at.unit.setting_at({"cpu-core": 20}), load="cpu", minutes=2, repeats=2,
                              agreed=True, sample_seconds=10, heartbeat_seconds=20,
                              settling=Settling(at_most_minutes=0.2))  # fmt: skip
        measure(at, measuring)


def trial(home: Path) -> None:
    with Telling.open(home / "journal.sqlite") as journal:
        unit = journal.unit(UNIT.name)
        going = [state for state in states(journal, unit.name) if state.next is not None]
        if not going:
            arms = arms_from(journal, unit, ("stock", "cpu-core=-20"))
            begin_trial(journal, unit, plan_trial(journal, unit, arms, load="cpu", minutes=1, seed=9, repeats=4).plan)
            going = [state for state in states(journal, unit.name) if state.next is not None]
        trialling = Trialling(agreed=True, at_most_runs=2, sample_seconds=10, heartbeat_seconds=20,
                              settling=Settling(at_most_minutes=0.2))  # fmt: skip
        go_on(bench(journal, home), going[-1].number, trialling)


def lived(home: Path) -> None:
    with Telling.open(home / "journal.sqlite") as journal:
        living = Living(
            agreed=True, minutes=12, to_stock=True, sample_seconds=20, heartbeat_seconds=60, stretch_minutes=4
        )
        live(bench(journal, home, Loaded), living)


def settled(home: Path) -> None:
    """What any verb with hands does first: open runs judged, back to stock."""
    with Journal.open(home / "journal.sqlite") as journal, at_work(bench(journal, home), off_stock=False, agreed=True):
        pass


def command(home: Path, *arguments: str) -> None:
    os.environ["SUREFOOT_HOME"] = str(home)
    done = CliRunner().invoke(surefoot.cli.main.app, list(arguments))
    if done.exit_code:
        raise RuntimeError(f"{' '.join(arguments)}: {done.exit_code} {done.output} {done.exception!r}")
    say("done")


WORK: dict[str, Callable[..., None]] = {
    "tune": tune, "measure": measured, "trial": trial, "live": lived, "settled": settled, "command": command,
}  # fmt: skip


def main() -> None:
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            code = 1
            try:
                WORK[asked["what"]](Path(asked["home"]), *asked["with"])
                code = 0
            except MachineDown:
                code = 0
            except (SurefootError, Exception) as error:  # noqa: BLE001 (a child says what stopped it)
                say("error", repr(f"{type(error).__name__}: {error}"))
                traceback.print_exc()
            finally:
                os._exit(code)
        say("child", child)
        _, status = os.waitpid(child, 0)
        say("dead", os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
