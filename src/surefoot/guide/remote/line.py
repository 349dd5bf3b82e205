"""The bench's end of a line to an agent: a process that is spoken to over its standard input and output."""

from __future__ import annotations

import contextlib
import subprocess
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from queue import Empty, Queue
from typing import Any, Final

from surefoot.errors import MachineError
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.remote.wire import (
    BEAT_SECONDS,
    HELLO,
    LONGEST_LINE,
    SILENT_SECONDS,
    VERSION,
    as_line,
    error_in,
    of_line,
    plain,
)

HELLO_SECONDS: Final = 120.0
"""A slow machine starts Python slowly. Where nobody is there, ssh says so by itself, and much sooner."""
ANSWER_SECONDS: Final = 180.0
"""For what takes its time: starting a load, a command of the user's."""


@dataclass(frozen=True, slots=True)
class Hello:
    """Who is at the other end. ``ahead``: seconds that its clock is ahead of this one."""

    process: int
    began: float
    boot: str
    identity: str
    operating_system: str
    ahead: float


class Line:
    """An open line. Raises LineLost, from whatever is asked, once there is no word from the other end any more."""

    def __init__(self, command: Sequence[str], where: str) -> None:
        self._where = where
        self._answers: Queue[dict[str, Any]] = Queue()
        self._heard = time.monotonic()
        self._closed = threading.Event()
        self._speaking = threading.Lock()
        self._number = 0
        self._words = b""
        try:
            self._process = subprocess.Popen(
                list(command),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                # Ctrl-C at the bench is for the session, which then goes back to stock over this very line.
                start_new_session=True,
            )
        except OSError as error:
            raise MachineError(f"{command[0]} could not be started: {error.strerror}.", where=where) from None
        for work in (self._listen, self._listen_to_errors):
            threading.Thread(target=work, daemon=True).start()
        try:
            self.hello = self._hello()
        except BaseException:
            self.close()
            raise
        threading.Thread(target=self._beat, daemon=True).start()

    @property
    def process(self) -> int:
        """Number of the process at this end."""
        return self._process.pid

    @property
    def silent_seconds(self) -> float:
        """Since the last word from the other end."""
        return time.monotonic() - self._heard

    def ask(self, do: str, *, within: float = ANSWER_SECONDS, **more: Any) -> Any:
        """Ask the agent and wait for its answer; what it refuses is raised as it would be here."""
        self._number += 1
        number = self._number
        self._say({"id": number, "do": do, **more})
        until = time.monotonic() + within
        while True:
            self._see_alive()
            try:
                answer = self._answers.get(timeout=0.2)
            except Empty:
                if time.monotonic() > until:
                    self.close()
                    raise self._lost(f"no answer to {do!r} for {within:.0f} s") from None
                continue
            if answer.get("id") != number:
                continue
            if "error" in answer:
                raise error_in(answer["error"])
            return answer.get("ok")

    def close(self) -> None:
        """End the line. An agent that is there goes back to stock and ends."""
        self._closed.set()
        with contextlib.suppress(OSError, ValueError):
            assert self._process.stdin is not None
            self._process.stdin.close()
        try:
            self._process.wait(timeout=10.0 if self.silent_seconds < SILENT_SECONDS else 0.2)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()

    def _hello(self) -> Hello:
        until = time.monotonic() + HELLO_SECONDS
        while time.monotonic() < until:
            try:
                told = self._answers.get(timeout=0.2)
            except Empty:
                if self._process.poll() is None:
                    continue
                time.sleep(0.2)
                if self._answers.empty():
                    break
                continue
            if told.get("hello") != HELLO:
                continue
            if told.get("version") != VERSION:
                raise MachineError(
                    f"the agent there (Surefoot {plain(told.get('surefoot'), 40)}) speaks another version of the line.",
                    where=self._where,
                    remedy="Install the same Surefoot on both machines.",
                )
            try:
                return Hello(
                    int(told["process"]),
                    float(told["began"]),
                    plain(told["boot"], 200),
                    plain(told["identity"], 200),
                    plain(told["operating_system"], 200),
                    float(told["began"]) - time.time(),
                )
            except (KeyError, TypeError, ValueError):
                break
        raise self._lost("no agent answered")

    def _listen(self) -> None:
        stream = self._process.stdout
        assert stream is not None
        with contextlib.suppress(OSError, ValueError):
            while line := stream.readline(LONGEST_LINE):
                message = of_line(line)
                if message is None:
                    continue
                self._heard = time.monotonic()
                if "beat" not in message:
                    self._answers.put(message)
        self._closed.set()

    def _listen_to_errors(self) -> None:
        stream = self._process.stderr
        assert stream is not None
        with contextlib.suppress(OSError, ValueError):
            while data := stream.read1(4096):  # type: ignore[attr-defined]
                self._words = (self._words + data)[-2000:]

    def _beat(self) -> None:
        number = 0
        while not self._closed.wait(BEAT_SECONDS):
            number += 1
            with contextlib.suppress(LineLost):
                self._say({"beat": number})

    def _say(self, message: dict[str, Any]) -> None:
        try:
            with self._speaking:
                assert self._process.stdin is not None
                self._process.stdin.write(as_line(message))
                self._process.stdin.flush()
        except (OSError, ValueError):
            raise self._lost("the line broke") from None

    def _see_alive(self) -> None:
        if self._closed.is_set() and self._answers.empty():
            raise self._lost("the line broke")
        if self.silent_seconds > SILENT_SECONDS:
            self.close()
            raise self._lost(f"no word for {SILENT_SECONDS:.0f} s")

    def _lost(self, why: str) -> LineLost:
        said = plain(self._words.decode("utf-8", errors="replace")).strip()
        return LineLost(f"{why}{f' ({said[-300:]})' if said else ''}.", where=self._where)
