"""Reads hostile files one after another and tells of each how it went: hostile_child.py KIND FIRST LAST HOME.

An audit hook sees whatever is written outside the home, started, or connected to. Memory is the peak of this process.
"""

from __future__ import annotations

import contextlib
import io
import os
import resource
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Any

from hostile_inputs import UNIT, made

from surefoot.errors import SurefootError

STARTED = (
    "subprocess.Popen",
    "os.system",
    "os.exec",
    "os.posix_spawn",
    "os.spawn",
    "os.fork",
    "pty.spawn",
    "socket.connect",
)
CHANGED = (
    "os.remove",
    "os.rename",
    "os.rmdir",
    "os.mkdir",
    "os.symlink",
    "os.link",
    "os.truncate",
    "os.chmod",
    "shutil.rmtree",
)
CLI_EVERY = 12


class Watch:
    """What the audit hook saw while it was armed."""

    def __init__(self, home: Path) -> None:
        self.home, self.armed = str(home.resolve()), False
        self.seen: list[str] = []
        sys.addaudithook(self._hook)

    def _hook(self, event: str, arguments: tuple[Any, ...]) -> None:
        if not self.armed:
            return
        if event in STARTED:
            self.seen.append(f"{event} {arguments[0]!r}"[:200])
        elif event in CHANGED:
            self._outside(event, arguments[0])
        elif event == "open":
            path, mode, flags = (*arguments, None, None, None)[:3]
            if flags and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND):
                self._outside(f"open {mode}", path)
        elif event == "sqlite3.connect":
            self._outside(event, arguments[0])

    def _outside(self, event: str, path: Any) -> None:
        if isinstance(path, int) or path is None:
            return
        name = os.fsdecode(path)
        if name in (":memory:", os.devnull) or name.startswith("file:"):
            return
        real = os.path.realpath(name)
        if not real.startswith(self.home) and "__pycache__" not in real:
            self.seen.append(f"{event} {real}"[:200])


def use(kind: str, place: int, file: Path, home: Path) -> None:
    """All that Surefoot would do with such a file; now and then through the command line, views and all."""
    if place % CLI_EVERY == 0:
        return by_command(kind, file)
    if kind == "card":
        from surefoot.journal.card_file import card_of_text, card_text, read_card
        from surefoot.rig.card_commands import commands_of

        unit = read_card(file, "box")
        for command in commands_of(unit, away=True):
            assert command.shown().isprintable()
        assert card_of_text(card_text(unit), "box", where="its own text") == unit, "a card's own text is another card"
    elif kind == "bundle":
        from surefoot.journal import Journal
        from surefoot.journal.bundle import load_bundle

        with Journal.open(home / f"{place}" / "journal.sqlite") as journal:
            name = load_bundle(journal, file).unit_name
            journal.runs(name)
            journal.card_history(name)
    elif kind == "table":
        from surefoot.logs import read_table
        from surefoot.logs.hand_table import read_hand_table

        read_hand_table(read_table(file.read_bytes()), UNIT, {})
    else:
        from surefoot.logs import read_log
        from surefoot.scores.frames import frame_statistics

        found = read_log(file.read_bytes(), day_first=True, timezone="UTC").trace
        if kind == "frames":
            for values in found.channels.values():
                with contextlib.suppress(SurefootError):
                    frame_statistics(values)


def by_command(kind: str, file: Path) -> None:
    """Through the command line, in this process."""
    from typer.testing import CliRunner

    from surefoot.cli.main import app

    name = f"box-{file.name}"
    words = {
        "card": [["unit", "add", name, "--from", str(file)], ["unit", "show", name], ["unit", "commands", name]],
        "table": [["log", "box", "--from", str(file)]],
        "log": [["trace", "import", str(file), "--unit", "box"]],
        "frames": [["score", "box", "--frames", str(file), "--configuration", "stock"]],
        "bundle": [["bundle", "load", str(file), "--as", name], ["runs", name], ["next", name], ["unit", "list"]],
    }
    for line in words[kind]:
        done = CliRunner().invoke(app, line)
        if isinstance(done.exception, SurefootError):
            raise done.exception
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        if any(not one.isprintable() and one not in "\n\u00a0\u202f\u2007\u2009\u200a" for one in done.output):
            raise AssertionError(f"{line[0]} {line[1]} printed what a terminal would obey")


def main() -> None:
    kind, first, last, home = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4])
    os.environ["SUREFOOT_HOME"] = str(home / "home")
    os.environ["TMPDIR"] = tempfile.tempdir = str(home)
    from surefoot.journal import Journal

    with Journal.open() as journal:
        if not any(unit.name == "box" for unit in journal.units()):
            journal.add_unit(UNIT)
    os.chdir(home)
    watch = Watch(home)
    # What is imported where it is used is imported before anything is counted.
    import surefoot.cli.main  # noqa: F401

    plain = home / "plain.csv"
    plain.write_text("Time,CPU Package [°C]\n" + "".join(f"{second},{50 + second % 7}\n" for second in range(60)))
    for word in ("log", "table", "frames", kind):
        with contextlib.suppress(SurefootError):
            use(word, 1, plain, home / "warm")

    for place in range(first, last):
        file = home / f"{kind}-{place}"
        made(kind, place, home).put(file)
        print("at", place, flush=True)
        said, watch.seen, watch.armed, began = "ok", [], True, time.process_time()
        try:
            with contextlib.redirect_stderr(io.StringIO()):
                use(kind, place, file, home)
        except (SurefootError, SystemExit):
            pass
        except BaseException as error:  # noqa: BLE001 (whatever it is, it is what is looked for)
            where = traceback.extract_tb(error.__traceback__)
            ours = [f"{Path(one.filename).name}:{one.lineno}" for one in where if "surefoot" in one.filename]
            said = f"{type(error).__name__}: {str(error)[:120]!r} at {' '.join(ours[-3:])}"
        watch.armed, spent = False, time.process_time() - began
        if watch.seen:
            said = f"not kept inside: {watch.seen[0]}"
        peak = _peak_megabytes()
        file.unlink(missing_ok=True)
        print("end", place, peak, f"{spent:.3f}", said, flush=True)


def _peak_megabytes() -> int:
    """The most memory that this process had. Not getrusage's on Linux: that one hands the parent's down."""
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


if __name__ == "__main__":
    main()
