"""A unit with a home, hands whose setting is a file, and a load that is a script: what faults.py breaks."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from surefoot.journal import Journal
from surefoot.rig.card_commands import FILE_NAME, commands_of
from surefoot.runs import Closing, Outcome, Run, RunPlan
from surefoot.units import HandsCard, Knob, LoadCard, Setting, Unit

CHILD = Path(__file__).with_name("fault_child.py")
CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
DEEP = ("--set", "cpu-core=-20")
LAST = 60.0


class Ended(subprocess.CompletedProcess[str]):
    """A command that has ended."""


class FaultBench:
    """``home``: the data directory; ``hands``, ``load``: shell scripts; ``$1`` of the hands' is the value."""

    def __init__(
        self, top: Path, *, home: Path | None = None, apply: str = "", read: str = "", load: str = "sleep 600",
        ceilings: dict[str, float] | None = None, timeout: float = 5.0,
    ) -> None:  # fmt: skip
        self.top, self.home = top, home or top / "home"
        self.offset_file, self.knobs = top / "offset", top / "knobs"
        self.knobs.mkdir(exist_ok=True)
        self.offset_file.write_text("0\n")
        apply = apply or 'echo "$1" > "$0"'
        read = read or 'cat "$0"'
        hands = HandsCard(
            kind="command",
            apply=("/bin/sh", "-c", apply, str(self.offset_file), "{cpu-core}"),
            read_back=("/bin/sh", "-c", read, str(self.offset_file)),
            timeout_seconds=timeout,
        )
        loads = (LoadCard(name="own", command=("/bin/sh", "-c", load, str(top)), exercises=("cpu",)),)
        self.unit = Unit(name="box", knobs=(CORE,), hands=hands, loads=loads, ceilings_celsius=ceilings or {})
        with Journal.open(self.home) if self.home.is_dir() else Journal.open(self._new()) as journal:
            journal.add_unit(self.unit)
            for depth in (0, 10):
                setting = self.unit.setting_at({"cpu-core": depth})
                plan = RunPlan(unit_name="box", setting=setting, load="own", planned_minutes=30, source="hand")
                journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=30, judged_by="test"))
        with (self.home / FILE_NAME).open("a", encoding="ascii") as file:
            for command in commands_of(self.unit, away=True):
                file.write(f'{{"key": "{command.key()}"}}\n')
        (self.home / FILE_NAME).chmod(0o600)

    def _new(self) -> Path:
        self.home.mkdir(parents=True)
        return self.home

    def environment(self, speed: float = 1.0, **more: str) -> dict[str, str]:
        """For the child."""
        return {
            **os.environ, "SUREFOOT_HOME": str(self.home), "FAULT_SPEED": str(speed), "FAULT_KNOBS": str(self.knobs),
            **more,
        }  # fmt: skip

    def start(
        self, *arguments: str, speed: float = 1.0, more: dict[str, str] | None = None, under: tuple[str, ...] = (),
        **options: Any,
    ) -> Any:  # fmt: skip
        """The command, begun; ``under``: by this program."""
        options = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "errors": "replace", **options}
        environment = self.environment(speed, **(more or {}))
        return subprocess.Popen([*under, sys.executable, str(CHILD), *arguments], env=environment, **options)

    def do(self, *arguments: str, speed: float = 1.0, **more: str) -> Ended:
        """The command, to its end; no traceback whatever happens, and one message when it did not work."""
        return self.ended(self.start(*arguments, speed=speed, more=more))

    def ended(self, process: Any, seconds: float = LAST) -> Ended:
        """Wait for it."""
        try:
            out, err = process.communicate(timeout=seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            raise AssertionError(f"it hung: {process.communicate()}") from None
        assert "Traceback" not in err, err
        if process.returncode in (2, 3):
            said = [line for line in err.splitlines() if line.startswith("surefoot: ") and "only read" not in line]
            assert len(said) == 1 or (not said and out), f"one message, not {err!r}"
        return Ended(process.args, process.returncode, out, err)

    def measure(self, *more: str, minutes: float = 0.5) -> tuple[str, ...]:
        """The words of a run off stock."""
        return ("measure", "box", *DEEP, "--load", "own", "--minutes", str(minutes), "--unattended", "--i-agree", *more)

    @property
    def offset(self) -> float:
        """What stands applied."""
        return float(self.offset_file.read_text() or 0)

    def runs(self) -> list[Run]:
        """All runs but those of the beginning."""
        return [run for run in self.runs_and_logs() if run.plan.source != "hand"]

    def runs_and_logs(self) -> list[Run]:
        """All runs."""
        with Journal.open(self.home, read_only=True) as journal:
            return journal.runs("box")

    def well(self) -> None:
        """The journal is well."""
        with Journal.open(self.home) as journal:
            assert journal.faults() == [], journal.faults()
            assert sum(run.plan.source == "hand" for run in journal.runs("box")) >= 2

    def beats(self, at_least: int = 1, seconds: float = 40.0) -> Run:
        """The run under way once it has so many heartbeats."""

        def there() -> bool:
            found = self.runs()
            return bool(found) and found[-1].heartbeats >= at_least

        until(there, seconds)
        return self.runs()[-1]

    def goes_on(self) -> None:
        """Once the fault is gone: judged, back at stock, and the same run holds."""
        done = self.do(*self.measure(minutes=0.1), speed=20)
        assert done.returncode == 0, done.stderr
        with Journal.open(self.home) as journal:
            assert journal.open_runs("box") == []
            standing = journal.standing("box")
            assert standing is None or standing.setting == Setting()
        assert self.runs()[-1].outcome is Outcome.HELD and self.offset == 0
        self.well()


def until(condition: Callable[[], bool], seconds: float = 30.0) -> None:
    """Wait for it."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with suppress(Exception):
            if condition():
                return
        time.sleep(0.05)
    raise AssertionError("it did not come to that")


@contextmanager
def mounted(point: Path, *options: str, kind: str = "tmpfs", what: str = "tmpfs") -> Iterator[Path]:
    """A file system of its own."""
    point.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", kind, *options, what, str(point)], check=True, capture_output=True)
    try:
        yield point
    finally:
        subprocess.run(["umount", "-l", str(point)], check=False, capture_output=True)


def can_mount() -> bool:
    """Whether this user may mount something."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return False
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        try:
            with mounted(Path(folder) / "try"):
                return True
        except (OSError, subprocess.CalledProcessError):
            return False


def fill(folder: Path, leave: int = 0) -> Path:
    """Take all the room there is."""
    ballast = folder / "ballast"
    with ballast.open("wb", buffering=0) as file:
        for size in (65536, 4096, 512, 1):
            with suppress(OSError):
                while file.write(b"x" * size):
                    pass
        if leave:
            file.truncate(max(0, ballast.stat().st_size - leave))
    return ballast


def outcomes(runs: Sequence[Run]) -> list[str]:
    """In short."""
    return [str(run.outcome.value if run.outcome else "open") for run in runs]
