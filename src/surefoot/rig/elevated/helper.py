"""The helper: the one process that has the administrator's rights, and four words to use them by.

It is started as ``python -I -S -B helper.py`` by the system's own means (`means`), reads one JSON object a line from
its standard input, and answers each. It opens no file that it is told of: doors are found by it, here, by name. Each
value must lie between what the door was found at and what its interface takes. When its pipe ends without a word, for
whatever reason, it puts back what it changed: the guardian of these hands is the helper itself.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Final, Protocol

if __name__ == "__main__":
    # Nothing of a site's packages is on the path (-I, -S), and Python's own library comes first.
    sys.path.append(str(Path(__file__).resolve().parents[3]))

from surefoot.errors import SurefootError
from surefoot.rig.elevated.kept import FOLDER, Kept
from surefoot.rig.elevated.messages import HELLO, LONGEST_LINE, READ, STOCK, STOP, VERSION, WRITE, as_line, of_line
from surefoot.rig.elevated.messages import refused as no_verb
from surefoot.rig.elevated.trust import why_not

if TYPE_CHECKING:
    from surefoot.rig.doors import Door

TRIES: Final = 3
BOOT: Final = Path("/proc/sys/kernel/random/boot_id")


class Pipe(Protocol):
    """Whole lines, one way and the other."""

    def receive(self) -> bytes: ...

    def send(self, line: bytes) -> None: ...


class Asked(BaseException):
    """The system asks this process to end: shutdown, logoff."""


class Refused(Exception):
    """What was asked is not done; nothing was changed."""


class Helper:
    """Answers over one pipe until it ends."""

    def __init__(self, pipe: Pipe, doors: Iterable[Door], kept: Kept) -> None:
        self._pipe, self._kept = pipe, kept
        self._doors = {one.name: one for one in doors}
        self._off_stock: set[str] = set()
        self._verbs: Mapping[str, Callable[[dict[str, Any]], Any]] = {
            READ: self._read,
            WRITE: self._write,
            STOCK: self._stock,
        }

    def serve(self) -> int:
        """Until it is told to stop, or its pipe ends. Exit code 0, or 3 when a value could not be put back."""
        with contextlib.suppress(Asked):
            self._pipe.send(as_line({"hello": HELLO, "version": VERSION, "process": os.getpid(), "rights": _rights()}))
            while line := self._pipe.receive():
                asked = of_line(line) if line.endswith(b"\n") else None
                if asked is not None and asked.get("do") == STOP and not no_verb(asked):
                    return 0
                answer = self._answer(asked)
                with contextlib.suppress(OSError, ValueError):
                    self._pipe.send(as_line(answer))
        for name in ("SIGTERM", "SIGPIPE"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), signal.SIG_IGN)
        return self._step_in()

    def _answer(self, asked: dict[str, Any] | None) -> dict[str, Any]:
        if asked is None:
            return {"id": None, "error": "that is no line of JSON"}
        answer: dict[str, Any] = {"id": asked.get("id") if isinstance(asked.get("id"), int) else None}
        if words := no_verb(asked):
            return {**answer, "error": words}
        try:
            return {**answer, "ok": self._verbs[asked["do"]](asked)}
        except Refused as error:
            return {**answer, "error": str(error)}
        except SurefootError as error:
            return {**answer, "error": error.message()}
        except OSError as error:
            return {**answer, "error": f"{error.strerror or error}"}

    def _read(self, asked: dict[str, Any]) -> Any:
        return self._told(self._door(asked))

    def _write(self, asked: dict[str, Any]) -> Any:
        one, value = self._door(asked), float(asked["value"])
        low, high = self._allowed(one)
        if not low - 1e-9 <= value <= high + 1e-9:
            raise Refused(f"{one.name} may be set from {low:g} to {high:g} {one.unit}, not to {value:g}")
        # Noted before it is done: what is cut off half way is put back as well.
        self._off_stock.add(one.name)
        one.write(value)
        return self._told(one)

    def _stock(self, asked: dict[str, Any]) -> Any:
        one = self._door(asked)
        one.write(self._stock_of(one))
        self._off_stock.discard(one.name)
        return self._told(one)

    def _told(self, one: Door) -> dict[str, float]:
        bounds = one.range()
        low, high = self._allowed(one)
        return {"value": one.read(), "low": low, "high": high, "step": bounds.step, "stock": self._stock_of(one)}

    def _door(self, asked: dict[str, Any]) -> Door:
        one = self._doors.get(asked["door"])
        if one is None:
            raise Refused(f"this machine documents no way to set {asked['door']!r}")
        # What it stands at is on disk before it is changed for the first time.
        self._kept.first(one.name, one.read())
        return one

    def _stock_of(self, one: Door) -> float:
        documented = one.stock()
        return self._kept.first(one.name, one.read()) if documented is None else documented

    def _allowed(self, one: Door) -> tuple[float, float]:
        bounds, stock = one.range(), self._stock_of(one)
        return (min(bounds.low, stock), stock) if one.toward == "down" else (stock, max(bounds.high, stock))

    def _step_in(self) -> int:
        """Put back what was changed and not put back yet; once, and written down."""
        names = sorted(self._off_stock)
        if not names:
            return 0
        wrong: list[str] = []
        for name in names:
            for attempt in range(TRIES):
                try:
                    self._doors[name].write(self._stock_of(self._doors[name]))
                    break
                except (SurefootError, OSError) as error:
                    said = error.message() if isinstance(error, SurefootError) else str(error)
                    if attempt == TRIES - 1:
                        wrong.append(f"{name}: {said}")
                    time.sleep(0.1)
        with contextlib.suppress(OSError):
            words = "; ".join(wrong) or "put back to stock"
            self._kept.stepped_in(datetime.now(UTC).isoformat(), names, not wrong, words)
        return 3 if wrong else 0


class StandardPipe:
    """Standard input and output."""

    def receive(self) -> bytes:
        """One line; b"" at the end."""
        return sys.stdin.buffer.readline(LONGEST_LINE)

    def send(self, line: bytes) -> None:
        """One line."""
        sys.stdout.buffer.write(line)
        sys.stdout.buffer.flush()


class NamedPipe:
    """The pipe that is named on the command line: UAC hands a process no other."""

    def __init__(self, address: str) -> None:
        from multiprocessing.connection import Client

        self._end = Client(address)

    def receive(self) -> bytes:
        """One line; b"" at the end."""
        try:
            return self._end.recv_bytes(LONGEST_LINE)
        except (EOFError, OSError):
            return b""

    def send(self, line: bytes) -> None:
        """One line."""
        self._end.send_bytes(line)


def ready() -> None:
    """What the terminal sends is for the one who asks; the system's own request is heard."""

    def asked(number: int, frame: FrameType | None) -> None:
        raise Asked

    for name in ("SIGHUP", "SIGINT", "SIGPIPE", "SIGTTOU", "SIGTTIN", "SIGTSTP", "SIGQUIT"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, asked)


def who_asks(environment: Mapping[str, str]) -> int:
    """Number of the user who asked for the rights, as the means tells it; the administrator where it tells none."""
    for name in ("SUDO_UID", "PKEXEC_UID"):
        if environment.get(name, "").isdecimal():
            return int(environment[name])
    return 0


def _rights() -> bool:
    if sys.platform == "win32":
        import ctypes

        return bool(ctypes.windll.shell32.IsUserAnAdmin())
    return os.geteuid() == 0


def _boot() -> str:
    try:
        return BOOT.read_text(encoding="ascii").strip()
    except OSError:
        return ""


def main(arguments: list[str]) -> int:
    """Exit code 0 in order, 2 when it may not be run, 3 when a value could not be put back or another is at work."""
    if arguments and (len(arguments) != 2 or arguments[0] != "--pipe"):
        sys.stderr.write("surefoot's helper is started by surefoot, and takes no words.\n")
        return 2
    if sys.platform != "win32" and (words := why_not(who_asks(os.environ))):
        sys.stderr.write(f"not run with more rights: {words}\n")
        return 2
    ready()
    from surefoot.rig.doors import doors

    try:
        kept = Kept(FOLDER if sys.platform == "linux" else None, _boot())
    except OSError as error:
        sys.stderr.write(f"{error.strerror or error}\n")
        return 2
    if not kept.alone():
        sys.stderr.write("another helper is still at work\n")
        return 3
    pipe: Pipe = NamedPipe(arguments[1]) if arguments else StandardPipe()
    return Helper(pipe, doors(), kept).serve()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
