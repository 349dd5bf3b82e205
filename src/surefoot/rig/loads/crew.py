"""The worker processes of a load, as their parent handles them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Sequence
from contextlib import suppress
from typing import IO, Any

import psutil

from surefoot.errors import MachineError
from surefoot.rig.loads.verdicts import Post, WorkerView

# One thread each: the load brings its own parallelism, pinned, and must know which processor a result came from.
ONE_BLAS_THREAD = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "BLIS_NUM_THREADS": "1",
    "VECLIB_MAXIMUM_THREADS": "1",
    "NUMEXPR_NUM_THREADS": "1",
}
_TAIL_LINES = 8
_MOST_WRONGS = 10_000
STUCK_SECONDS = 0.9
"""Of silence after which the system is asked what a worker is doing; it speaks four times a second."""
BUSY_SECONDS = 0.8
ASLEEP_SECONDS = 0.6
ASLEEP_LOOKS = 2
"""Looks, after the first, that must find it asleep: one may come seconds late on a machine with too much to do."""
_STOPPED = (psutil.STATUS_STOPPED, psutil.STATUS_TRACING_STOP)


class WorkerProcess:
    """One worker and what it has said so far. A thread of the parent's reads it, so that it never has to wait."""

    def __init__(self, module: str, post: Post, job: dict[str, Any]) -> None:
        self.post = post
        self._ready: dict[str, Any] | None = None
        self._wrong: dict[str, Any] | None = None
        self._trouble: dict[str, Any] | None = None
        self.wrongs: list[tuple[float, dict[str, Any]]] = []
        self._ended = False
        self._now: dict[str, float] = {}
        self._units = 0
        self._progress = 0.0
        self._work: dict[str, dict[str, list[float]]] = {}
        self._tail: deque[str] = deque(maxlen=_TAIL_LINES)
        self._words = 0
        self._words_seen = 0
        self._silent_seconds = 0.0
        self._lock = threading.Lock()
        self._spent: float | None = None
        self._spent_last = 0.0
        self._asleep_from = 0.0
        self._asleep_looks = 0
        self.begun = False
        self._process = _launch(module, job)
        self._seen = psutil.Process(self._process.pid)
        self._reader = threading.Thread(target=self._read, daemon=True, name=f"surefoot: {post.words}")
        self._reader.start()

    @property
    def pid(self) -> int:
        """Process id of the worker."""
        return self._process.pid

    @property
    def work(self) -> dict[str, dict[str, list[float]]]:
        """Phase to kernel to [work verified, processor seconds, units], as of its last word."""
        with self._lock:
            return self._work

    def _read(self) -> None:
        stream = self._process.stdout
        assert stream is not None
        for line in stream:
            self._hear(line)
        stream.close()

    def _hear(self, line: bytes) -> None:
        try:
            message = json.loads(line)
        except ValueError:
            message = None
        with self._lock:
            self._words += 1
            if not isinstance(message, dict):
                self._tail.append(line.decode(errors="replace").strip()[:200])
                return
            self._ready = message.get("ready", self._ready)
            self._wrong = message.get("wrong", self._wrong)
            if "wrong" in message and len(self.wrongs) < _MOST_WRONGS:
                self.wrongs.append((time.monotonic(), message["wrong"]))
            self._trouble = message.get("trouble", self._trouble)
            self._ended = message.get("ended", self._ended)
            if "beat" in message:
                self._units = int(message["beat"])
                self._work = message["work"]
                self._progress = float(message.get("progress", self._units))
                self._now = message.get("now", self._now)

    def tell(self, line: str) -> None:
        """One line to the worker; one that is gone does not mind."""
        stream = self._process.stdin
        assert stream is not None
        with suppress(OSError, ValueError):
            stream.write(line.encode() + b"\n")
            stream.flush()

    def count_silence(self, awake_seconds: float) -> None:
        """Add the time that the parent itself was awake to the worker's silence, or end it where there was a word.

        A word that lies unread in the pipe is one: where the machine has too much to do, the thread that reads waits
        for its turn as the workers do.
        """
        unread = self._process.stdout is not None and unread_bytes(self._process.stdout) > 0
        with self._lock:
            if self._words != self._words_seen or unread:
                self._words_seen = self._words
                self._silent_seconds = 0.0
            else:
                self._silent_seconds += awake_seconds

    @property
    def is_ready(self) -> bool:
        """Whether it has proven its kernels and waits for the start."""
        with self._lock:
            return self._ready is not None

    def view(self) -> WorkerView:
        """What is known of it now. An exit counts only once all it said before has been read."""
        code = self._process.poll()
        if code is not None:
            self._reader.join(timeout=5.0)
        with self._lock:
            return WorkerView(
                post=self.post,
                pinned=self._ready is None or bool(self._ready.get("pinned", True)),
                facts=dict(self._ready.get("facts", {})) if self._ready else {},
                now=dict(self._now),
                ready=self._ready is not None,
                ended=self._ended,
                units=self._units,
                progress=self._progress,
                silent_seconds=self._silent_seconds,
                exit_code=code,
                stuck=self._stuck(code),
                wrong=self._wrong,
                trouble=self._trouble,
                tail="\n".join(self._tail),
            )

    def _stuck(self, code: int | None) -> str:
        """How a silent worker is stuck, in words; "" for one that speaks, or that may be kept off its processor.

        A worker that waits for a processor is no worse for it. One that has had a processor for longer than any unit
        of work takes, or that sleeps or was stopped where it should work, is.
        """
        if (
            code is not None
            or not self.begun
            or self._ready is None
            or self._ended
            or self._silent_seconds < STUCK_SECONDS
        ):
            self._spent = None
            return ""
        try:
            spent = sum(self._seen.cpu_times()[:2])
            status = self._seen.status()
            # One that has died may take seconds to give a card's memory back; its exit code will tell what it died of.
            dying = not self._reader.is_alive() or self._seen.memory_info().rss == 0
        except psutil.Error:
            return ""
        if dying:
            return ""
        if self._spent is None:
            # From here on: what it spent before it fell silent is not known.
            self._spent = self._spent_last = spent
            self._asleep_from, self._asleep_looks = self._silent_seconds, 0
            return ""
        # On a slow processor a unit of work takes longer.
        if spent - self._spent >= max(BUSY_SECONDS, 5 * float(self._ready.get("longest_seconds", 0.0))):
            return "has been busy without a result"
        if status in _STOPPED:
            return "has been stopped"
        # One look may fall on a short sleep. Runnable, it only waits for its turn; in the system's own sleep for a
        # disk, it may be waiting for memory that was swapped out.
        if status != psutil.STATUS_SLEEPING or spent != self._spent_last:
            self._asleep_from, self._spent_last, self._asleep_looks = self._silent_seconds, spent, 0
            return ""
        self._asleep_looks += 1
        asleep = self._asleep_looks >= ASLEEP_LOOKS and self._silent_seconds - self._asleep_from >= ASLEEP_SECONDS
        return "has been asleep when it should work" if asleep else ""

    def wait(self, seconds: float) -> bool:
        """Wait for its end; returns whether it ended."""
        try:
            self._process.wait(max(seconds, 0.0))
        except subprocess.TimeoutExpired:
            return False
        return True

    def kill(self) -> None:
        """End it now, also when it is frozen, and let go of its pipes."""
        if self._process.poll() is None:
            with suppress(OSError):
                self._process.kill()
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(5.0)
        self._reader.join(timeout=5.0)
        with suppress(OSError, ValueError):
            if self._process.stdin is not None:
                self._process.stdin.close()


def unread_bytes(stream: IO[bytes]) -> int:
    """Bytes that lie in a pipe and have not been read yet; 0 where the system does not tell, or it is closed."""
    if sys.platform == "win32":
        return 0
    import array
    import fcntl
    import termios

    waiting = array.array("i", [0])
    with suppress(OSError, ValueError):
        fcntl.ioctl(stream.fileno(), termios.FIONREAD, waiting)
    return waiting[0]


def _launch(module: str, job: dict[str, Any]) -> subprocess.Popen[bytes]:
    if not sys.executable:
        raise MachineError(
            "the built-in loads start Python processes, and this Python does not say where its program is.",
        )
    options: dict[str, Any] = {}
    if os.name == "posix":
        # A session of its own: an interrupt from the keyboard goes to the parent only.
        options["start_new_session"] = True
    else:
        options["creationflags"] = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
    try:
        return subprocess.Popen(
            # -P: a file called numpy.py where the user happens to stand must not be taken for numpy.
            [sys.executable, "-P", "-m", module, json.dumps(job)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            env={**os.environ, **ONE_BLAS_THREAD},
            **options,
        )
    except OSError as error:
        raise MachineError(f"a worker process could not be started: {error}.") from None


class Crew:
    """All workers of one load: ``posts``, each a worker of the module with the job and its own ``index``."""

    def __init__(self, module: str, posts: Sequence[Post], job: dict[str, Any]) -> None:
        self.members: list[WorkerProcess] = []
        self._last_look = time.monotonic()
        try:
            for index, post in enumerate(posts):
                of_this = {**job, "index": index, "workers": len(posts), **post.facts}
                self.members.append(WorkerProcess(module, post, of_this))
        except MachineError:
            self.kill()
            raise

    def look(self, longest_gap_seconds: float = 5.0) -> list[WorkerView]:
        """What is known of every worker now; counts silence on.

        Of a long gap between two looks only ``longest_gap_seconds`` count: the parent may have been stopped itself, or
        the machine asleep, and then the workers' words may still lie unread.
        """
        now = time.monotonic()
        gap = min(now - self._last_look, longest_gap_seconds)
        self._last_look = now
        for member in self.members:
            member.count_silence(gap)
        return [member.view() for member in self.members]

    def begin(self, lead_seconds: float = 0.2) -> float:
        """Tell all to begin at one moment, a little ahead. Returns it, on the monotonic clock (one for the system)."""
        epoch = time.monotonic() + lead_seconds
        for member in self.members:
            member.tell(repr(epoch))
            member.begun = True
        return epoch

    def tell(self, line: str) -> None:
        """One line to every worker."""
        for member in self.members:
            member.tell(line)

    def stop(self, grace_seconds: float) -> list[WorkerProcess]:
        """Ask all to stop and wait; returns those that did not end in time. They still run: `kill` ends them."""
        for member in self.members:
            member.tell("stop")
        limit = time.monotonic() + grace_seconds
        return [member for member in self.members if not member.wait(limit - time.monotonic())]

    def kill(self) -> None:
        """End every process now."""
        for member in self.members:
            member.kill()
