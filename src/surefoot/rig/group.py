"""A process and all that it started, ended at once."""

from __future__ import annotations

import os
import signal
import subprocess
from contextlib import suppress


def end_at_once(process: subprocess.Popen[bytes], seconds: float) -> None:
    """End a process and what it started (POSIX: the group that it leads), and wait for its end, at most so long."""
    if os.name == "posix":
        kill_group(process.pid)
    else:
        kill_children(process.pid)
    with suppress(OSError):
        process.kill()
    with suppress(subprocess.TimeoutExpired):
        process.wait(seconds)


def kill_group(pid: int) -> None:
    """Kill every process of a group, whether or not the one that it is named after is still there (POSIX)."""
    with suppress(OSError):
        os.killpg(pid, signal.SIGKILL)


def kill_children(pid: int) -> None:
    """Kill what a process started and what that started: where there are no groups to kill."""
    import psutil

    with suppress(psutil.Error):
        for child in psutil.Process(pid).children(recursive=True):
            with suppress(psutil.Error):
                child.kill()
