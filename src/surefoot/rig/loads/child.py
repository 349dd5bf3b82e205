"""What every worker process of a load shares: its line to the parent, and its end when the parent is gone.

A worker talks in lines of JSON on its standard output and listens on its standard input, whose end means that the
parent is gone: then the worker ends at once, so that a killed parent leaves nothing spinning.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

# Only what is light: the interpreter of every worker pays for it before it is pinned.

BEAT_SECONDS = 0.25
IDLE_SLICE_SECONDS = 0.2
WRONG_EXIT = 3
TROUBLE_EXIT = 4


def say(message: dict[str, Any]) -> None:
    """One line to the parent, in one write: whole or not at all. When nobody listens, end."""
    try:
        os.write(1, (json.dumps(message) + "\n").encode())
    except OSError:
        os._exit(0)


def shield() -> None:
    """No interrupt from the keyboard (it is the parent's), and no core file of a crash that was provoked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


class Stopping:
    """Listens to the parent: ``stop`` means stop after this unit of work, the end of the pipe means end now.

    ``duty``: the share of the time that it is to work, as the parent last said (``duty 0.8``); 0 is a rest.
    """

    def __init__(self) -> None:
        self.duty = 1.0
        self._asked = threading.Event()
        self._parent = os.getppid()

    def listen(self) -> None:
        """From now on, in a thread of its own."""
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        # os.read and not sys.stdin: a buffered reader's lock makes an interpreter that is ending abort.
        while data := os.read(0, 64):
            for line in data.splitlines():
                if line.startswith(b"stop"):
                    self._asked.set()
                elif line.startswith(b"duty "):
                    with suppress(ValueError):
                        self.duty = min(1.0, max(0.0, float(line[5:])))
        os._exit(0)

    def asked(self) -> bool:
        """Whether to stop. Ends the process at once when its parent has changed, in case the pipe is still held."""
        if os.getppid() != self._parent:
            os._exit(0)
        return self._asked.is_set()

    def rest(self, worked_seconds: float) -> None:
        """Rest after a unit of work as long as the duty asks; a rest of its own when the duty is 0 is the caller's."""
        duty = self.duty
        if 0 < duty < 1:
            # Never so long that the parent takes the silence for trouble.
            self.wait(min(worked_seconds * (1.0 / duty - 1.0), IDLE_SLICE_SECONDS))

    def wait(self, seconds: float) -> None:
        """Idle for so long, or until asked to stop."""
        self._asked.wait(seconds)


def await_start() -> float:
    """The moment, on the system-wide monotonic clock, at which all begin. Ends the process when the parent is gone."""
    line = b""
    while not line.endswith(b"\n"):
        data = os.read(0, 1)
        if not data:
            os._exit(0)
        line += data
    return float(line)


def run(main: Callable[[dict[str, Any]], int], trouble_kind: Callable[[Exception], str]) -> None:
    """Be the worker of the job in the first argument, and end the process.

    Whatever goes wrong in the program itself is told to the parent in one line; ``trouble_kind`` names it.
    """
    try:
        code = main(json.loads(sys.argv[1]))
    except Exception as error:  # noqa: BLE001 - a program that breaks where it worked before is what is looked for
        say({"trouble": {"kind": trouble_kind(error), "what": f"{type(error).__name__}: {error}"[:1000]}})
        code = TROUBLE_EXIT
    sys.stdout.flush()
    # Not sys.exit: the listening thread sits in a read, and an ordinary end may wait for it.
    os._exit(code)
