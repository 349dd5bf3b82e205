"""Reading the kernel's log: its lines with the time since boot, from its device or through the system's journal."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

KMSG = "dev/kmsg"
MOST_BYTES = 8 * 1024 * 1024
JOURNAL_SECONDS = 15.0
# The log's clock is not corrected and the system's is: up to so much they may run apart (crystals are good to some 50
# parts in a million, common practice, no source). Rather a line too many than one too few.
DRIFT = 1e-4
SLACK_SECONDS = 1.0
_RECORD = re.compile(r"(\d+),(\d+),(\d+)(?:,[^;]*)?;(.*)")
_JOURNAL_LINE = re.compile(r"(\d+(?:\.\d+)?)\s+\S+\s+kernel:\s?(.*)")


@dataclass(frozen=True, slots=True)
class LogLine:
    """One line: ``at`` in seconds, since boot or since 1970 as the reader says; ``number``: its place, -1 unknown."""

    at: float
    text: str
    number: int = -1


@dataclass(frozen=True, slots=True)
class KernelLog:
    """What was read: the lines since the moment asked for, and why nothing could be read ("" when it could)."""

    lines: tuple[LogLine, ...] = ()
    why_not: str = ""


def parse_kmsg(text: str) -> list[LogLine]:
    """Records of ``/dev/kmsg``, "priority,sequence,microseconds,flags;text"; the lines of properties are left out.

    Source of the format: kernel documentation, ABI/testing/dev-kmsg. Times are seconds since boot, on a clock that
    stands still while the machine sleeps and that nobody corrects.
    """
    found = []
    for line in text.splitlines():
        # Lines that go on a record (its properties) begin with a space.
        match = None if line.startswith(" ") else _RECORD.match(line)
        if match:
            found.append(LogLine(int(match[3]) / 1e6, match[4], int(match[2])))
    return found


def parse_journal(text: str) -> list[LogLine]:
    """Lines as the system's journal prints them with ``--output=short-unix``: seconds since 1970, host, "kernel:"."""
    return [LogLine(float(match[1]), match[2]) for line in text.splitlines() if (match := _JOURNAL_LINE.match(line))]


def read_since(moment: datetime, root: Path | None = None) -> KernelLog:
    """The kernel's lines since a moment. ``root``: of the file tree, for tests: then its ``dev/kmsg`` is a plain file.

    Never raises: where the log is closed to this user or the system has none of the kind, ``why_not`` says so.
    """
    device = (root or Path("/")) / KMSG
    if root is None and not sys.platform.startswith("linux"):
        return KernelLog(why_not="this system's log of hardware errors is not read")
    text = _read_device(device)
    if text is not None:
        # Seconds since boot of the moment: what the clock says now less what has gone by since.
        gone = time.time() - moment.timestamp()
        up = time.clock_gettime(time.CLOCK_MONOTONIC)
        since = up - gone - SLACK_SECONDS - DRIFT * up if root is None else 0.0
        return KernelLog(tuple(line for line in parse_kmsg(text) if line.at >= since))
    if root is None and (text := _ask_journal(moment)) is not None:
        return KernelLog(tuple(line for line in parse_journal(text) if line.at >= moment.timestamp()))
    return KernelLog(why_not="the kernel's log is closed to this user")


def _read_device(path: Path) -> str | None:
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return None
    parts: list[bytes] = []
    size = 0
    try:
        while size < MOST_BYTES:
            try:
                data = os.read(handle, 16384)
            except BlockingIOError:
                break
            except BrokenPipeError:
                # A record was overwritten before it was read; the next read goes on with the oldest there is.
                continue
            except OSError:
                break
            if not data:
                break
            parts.append(data)
            size += len(data)
    finally:
        os.close(handle)
    return b"".join(parts).decode("utf-8", errors="replace")


def _ask_journal(moment: datetime) -> str | None:
    program = shutil.which("journalctl")
    if program is None:
        return None
    # One second earlier: the option has whole seconds only.
    since = f"@{int(moment.timestamp()) - 1}"
    command = [program, "--dmesg", "--no-pager", "--quiet", "--output=short-unix", f"--since={since}"]
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, timeout=JOURNAL_SECONDS, check=False, errors="replace"
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    # Without the right to the system's journal it shows the user's own and says so; there are no kernel lines then.
    return done.stdout if done.returncode == 0 and done.stdout.strip() else None
