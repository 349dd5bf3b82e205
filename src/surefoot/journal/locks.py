"""One writer per unit: a lock of the operating system's that dies with its process (`surefoot.os_lock`).

Such a lock does not exclude the same process from itself, hence the table of held names below. The lock file is never
deleted: deleting it would let two processes lock two different files of one name.
"""

from __future__ import annotations

import json
import os
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from surefoot.errors import JournalError
from surefoot.journal.failures import translated
from surefoot.os_lock import lock_path, try_lock, unlock

_held: dict[str, Holder] = {}
_guard = threading.Lock()


@dataclass(frozen=True)
class Holder:
    """Who holds a lock: process id, host, since when (UTC), and for what."""

    pid: int
    host: str
    since: str
    what: str

    def describe(self) -> str:
        """For a message."""
        return f"process {self.pid} on {self.host}, since {self.since}"


@contextmanager
def held(folder: Path, what: str, refusal: str, *, wait_seconds: float = 0.0) -> Iterator[Holder]:
    """Hold the lock of a name while the block runs.

    Raises JournalError, beginning with ``refusal`` and naming the holder, when another holds it for longer than
    ``wait_seconds``.
    """
    path = lock_path(folder, what)
    with translated(path):
        path.parent.mkdir(parents=True, exist_ok=True)
    key = str(path.resolve())
    mine = Holder(os.getpid(), socket.gethostname(), datetime.now(UTC).isoformat(timespec="seconds"), what)
    _claim(key, mine, refusal, wait_seconds)
    try:
        with translated(path):
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            _lock(handle, path, refusal, wait_seconds)
            _write(handle, json.dumps(mine.__dict__))
            try:
                yield mine
            finally:
                # Emptied before it is unlocked, so that a released lock never names a holder.
                _write(handle, "")
                unlock(handle)
        finally:
            os.close(handle)
    finally:
        with _guard:
            _held.pop(key, None)


def holder(folder: Path, what: str) -> Holder | None:
    """Who wrote into the lock file last; None when it is empty, unreadable or not there."""
    path = lock_path(folder, what)
    with _guard:
        # Opening the file here would drop this process's own record lock when it is closed again.
        inside = _held.get(str(path.resolve()))
    if inside is not None:
        return inside
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Holder(int(told["pid"]), str(told["host"]), str(told["since"]), str(told["what"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _claim(key: str, mine: Holder, refusal: str, wait_seconds: float) -> None:
    for _ in _attempts(wait_seconds):
        with _guard:
            inside = _held.get(key)
            # A fork copies the table but not the lock: an entry of another process is not ours.
            if inside is None or inside.pid != mine.pid:
                _held[key] = mine
                return
    assert inside is not None
    raise _refused(refusal, inside)


def _lock(handle: int, path: Path, refusal: str, wait_seconds: float) -> None:
    for _ in _attempts(wait_seconds):
        if try_lock(handle):
            return
    raise _refused(refusal, _read_holder(path))


def _attempts(wait_seconds: float) -> Iterator[None]:
    import time

    end = time.monotonic() + wait_seconds
    yield
    while time.monotonic() < end:
        time.sleep(0.02)
        yield


def _read_holder(path: Path) -> Holder | None:
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Holder(int(told["pid"]), str(told["host"]), str(told["since"]), str(told["what"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _refused(refusal: str, by: Holder | None) -> JournalError:
    who = by.describe() if by else "another process"
    return JournalError(f"{refusal}: held by {who}.", remedy="Wait for it to end, or end it, then try again.")


def _write(handle: int, text: str) -> None:
    # The lock is what counts; on a full disk there is only nobody to be named.
    with suppress(OSError):
        os.ftruncate(handle, 0)
        os.lseek(handle, 0, os.SEEK_SET)
        if text:
            os.write(handle, text.encode())
