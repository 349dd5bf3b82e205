"""A command run within bounds: of time, with all that it started, and of what it may print."""

from __future__ import annotations

import os
import subprocess
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Any, Final

from surefoot.rig.group import end_at_once

MOST_BYTES = 1_000_000
"""So much of each stream is kept; of the rest nothing but that there was more."""
CHUNK_BYTES = 65_536
PIPES: Final[dict[str, Any]] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
"""How a command is to be started for `bounded`."""
GONE_SECONDS = 2.0


@dataclass(frozen=True, slots=True)
class Said:
    """How it ended: the exit code, None when it was out of time; what it printed; whether there was more of that."""

    code: int | None
    out: str
    err: str
    more: bool


def bounded(process: subprocess.Popen[bytes], seconds: float) -> Said:
    """See a command, started with `PIPES` in a session of its own, to its end or to the end of the time.

    Out of time, it and whatever it started are ended. A child that it left behind with its output open is not waited
    for.
    """
    readers = [_Reader(stream) for stream in (process.stdout, process.stderr) if stream is not None]
    end = time.monotonic() + seconds
    code: int | None = None
    with suppress(subprocess.TimeoutExpired):
        code = process.wait(seconds)
    if code is None:
        end_at_once(process, GONE_SECONDS)
    for reader in readers:
        # Of a command that has ended everything is in the pipe by now; a child that holds it open may hold it long.
        reader.join(max(0.1, min(GONE_SECONDS, end - time.monotonic())))
    out, err = (reader.text() for reader in readers)
    return Said(code, out, err, any(reader.more for reader in readers))


class _Reader(threading.Thread):
    """Reads a stream to its end, so that the command never waits for us, and keeps its beginning."""

    def __init__(self, stream: IO[bytes]) -> None:
        super().__init__(daemon=True)
        self._stream = stream
        self._kept = bytearray()
        self.more = False
        self.start()

    def run(self) -> None:
        with suppress(OSError, ValueError):
            while data := os.read(self._stream.fileno(), CHUNK_BYTES):
                room = MOST_BYTES - len(self._kept)
                self._kept += data[:room]
                self.more = self.more or len(data) > room
        with suppress(OSError):
            self._stream.close()

    def text(self) -> str:
        """What was kept, as text; what is no text is marked as such."""
        return bytes(self._kept).decode("utf-8", errors="replace")
