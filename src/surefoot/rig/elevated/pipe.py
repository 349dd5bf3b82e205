"""The tool's end of the pipe to the helper."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from queue import Empty, Queue
from typing import Any, Final, Protocol

from surefoot.errors import MachineError
from surefoot.rig.elevated.messages import HELLO, LONGEST_LINE, STOP, VERSION, as_line, of_line
from surefoot.rig.system_name import system_name

HELLO_SECONDS: Final = 40.0
PASSWORD_SECONDS: Final = 300.0
"""While somebody is asked for a password."""
ANSWER_SECONDS: Final = 30.0
SHOWN: Final = 300


class Ends(Protocol):
    """Whole lines to the helper and from it."""

    def send(self, line: bytes) -> None:
        """Raises OSError when it is gone."""
        ...

    def receive(self) -> bytes:
        """b"" at its end."""
        ...

    def said(self) -> str:
        """What it, or what started it, said besides."""
        ...

    def close(self) -> None: ...


class HelperPipe:
    """A helper that has said hello. Raises MachineError, from whatever is asked, once it is gone."""

    def __init__(self, ends: Ends, *, attended: bool = False, needs_rights: bool = True) -> None:
        self._ends, self._number = ends, 0
        self._answers: Queue[dict[str, Any] | None] = Queue()
        self._speaking = threading.Lock()
        threading.Thread(target=self._listen, daemon=True).start()
        told = self._next(PASSWORD_SECONDS if attended else HELLO_SECONDS)
        if told is None or told.get("hello") != HELLO or told.get("version") != VERSION:
            ends.close()
            said = ends.said()
            raise MachineError(
                f"the helper with the administrator's rights did not start{f': {said}' if said else '.'}",
                remedy="Nothing was applied.",
            )
        if needs_rights and told.get("rights") is not True:
            ends.close()
            raise MachineError("the helper was started without the administrator's rights.", remedy="Nothing applied.")
        self.process = int(told["process"])

    def ask(self, do: str, **more: Any) -> dict[str, float]:
        """Ask and wait. Raises MachineError with the helper's own words when it refuses."""
        with self._speaking:
            self._number += 1
            try:
                self._ends.send(as_line({"id": self._number, "do": do, **more}))
            except (OSError, ValueError):
                raise self._gone() from None
            while (told := self._next(ANSWER_SECONDS)) is not None:
                if told.get("id") != self._number:
                    continue
                if "ok" in told:
                    return dict(told["ok"])
                raise MachineError(f"{told.get('error')}.", where=str(more.get("door", "the helper")))
            raise self._gone()

    def stop(self) -> None:
        """Let the helper go, and leave what stands."""
        with contextlib.suppress(OSError, ValueError):
            self._ends.send(as_line({"id": 0, "do": STOP}))
        self._ends.close()

    def close(self) -> None:
        """End the pipe: the helper puts back what is off stock, and goes."""
        self._ends.close()

    def _gone(self) -> MachineError:
        return MachineError(
            "the helper with the administrator's rights is gone.",
            remedy="See that the unit is at stock, or restart it; then give the command again.",
        )

    def _next(self, within: float) -> dict[str, Any] | None:
        try:
            return self._answers.get(timeout=within)
        except Empty:
            return None

    def _listen(self) -> None:
        with contextlib.suppress(OSError, ValueError):
            while line := self._ends.receive():
                message = of_line(line)
                if message is not None:
                    self._answers.put(message)
        self._answers.put(None)


class ProcessEnds:
    """The helper as a process of this one, behind the system's own means."""

    def __init__(self, command: Sequence[str]) -> None:
        try:
            # In this terminal's session: a password is asked for there. The helper itself hears none of its keys.
            self._process = subprocess.Popen(
                list(command), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
            )
        except OSError as error:
            raise MachineError(
                f"{command[0]} could not be started: {error.strerror}.", remedy="Nothing was applied."
            ) from None
        self._words = b""
        self._listener = threading.Thread(target=self._listen_to_errors, daemon=True)
        self._listener.start()

    def send(self, line: bytes) -> None:
        """As `Ends` has it."""
        assert self._process.stdin is not None
        self._process.stdin.write(line)
        self._process.stdin.flush()

    def receive(self) -> bytes:
        """As `Ends` has it."""
        assert self._process.stdout is not None
        return self._process.stdout.readline(LONGEST_LINE)

    def said(self) -> str:
        """The end of its standard error."""
        self._listener.join(timeout=1.0)
        text = self._words.decode("utf-8", errors="replace").strip()
        return "".join(one if one.isprintable() else " " for one in text)[-SHOWN:]

    def close(self) -> None:
        """End the pipe and see the helper off."""
        with contextlib.suppress(OSError, ValueError):
            assert self._process.stdin is not None
            self._process.stdin.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(timeout=5.0)

    def _listen_to_errors(self) -> None:
        assert self._process.stderr is not None
        with contextlib.suppress(OSError, ValueError):
            while data := os.read(self._process.stderr.fileno(), 4096):
                self._words = (self._words + data)[-2000:]


def start(means: str, *, attended: bool) -> HelperPipe:
    """A helper started by the means that the card names. Raises MachineError when it cannot be had."""
    if means == "runas" or system_name() == "windows":
        from surefoot.rig.elevated.windows import WindowsEnds

        return HelperPipe(WindowsEnds(), attended=attended)
    from surefoot.rig.elevated.means import elevated_command

    return HelperPipe(ProcessEnds(elevated_command(means, attended=attended)), attended=attended)


def rights_already() -> bool:
    """Whether this process has the administrator's rights: then no helper is needed."""
    return sys.platform != "win32" and os.geteuid() == 0
