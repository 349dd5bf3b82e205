"""Runs one command and ends it, with all its children, when the parent is gone. Started with ``python -m``.

The parent holds the other end of this process's standard input; its end means that the parent died, however it died.
The command's output goes straight through, and this process ends as the command ended: same code, same signal.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

from surefoot.rig.group import kill_children

PR_SET_CHILD_SUBREAPER = 36
MOST_GENERATIONS = 200
NOT_STARTED_EXIT = 127
"""As a POSIX shell says that a command could not be started."""


def adopt() -> None:
    """Have what the command starts and leaves behind become this process's children, daemons included (Linux).

    Source: prctl(2), PR_SET_CHILD_SUBREAPER.
    """
    if sys.platform != "linux":
        return
    import ctypes

    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0)


def descendants(pid: int) -> list[int]:
    """The processes below one, by the kernel's own lists; [] where there are none such (elsewhere than on Linux)."""
    found: list[int] = []
    waiting = [pid]
    while waiting:
        at = waiting.pop()
        for task in Path(f"/proc/{at}/task").glob("*/children"):
            with suppress(OSError):
                below = [int(number) for number in task.read_text(encoding="ascii").split()]
                found += below
                waiting += below
    return found


def end_descendants() -> None:
    """End all that the command started and left behind. A child of one that is ended becomes ours, and is next."""
    for _ in range(MOST_GENERATIONS):
        left = descendants(os.getpid())
        if not left:
            return
        for pid in left:
            with suppress(OSError):
                os.kill(pid, signal.SIGKILL)
        with suppress(OSError):
            while os.waitpid(-1, os.WNOHANG) != (0, 0):
                pass
        time.sleep(0.01)


def end_everything() -> None:
    """End the command and all that it started, and this process."""
    if os.name == "posix":
        for pid in descendants(os.getpid()):
            with suppress(OSError):
                os.kill(pid, signal.SIGKILL)
        os.killpg(0, signal.SIGKILL)
    kill_children(os.getpid())
    os._exit(1)


def _watch_parent() -> None:
    while os.read(0, 64):
        pass
    end_everything()


def main(arguments: list[str]) -> int:
    """Run the command. Returns its exit code; ends by the signal that ended it."""
    if os.name == "posix":
        # The parent ends the whole group politely first; this process must outlive that, to tell how it went. A handler
        # that does nothing and not SIG_IGN: a new program starts with its defaults again, so the command can be ended.
        for name in ("SIGTERM", "SIGINT", "SIGHUP"):
            signal.signal(getattr(signal, name), lambda *_: None)
    adopt()
    try:
        child = subprocess.Popen(arguments, stdin=subprocess.DEVNULL)
    except OSError as error:
        sys.stderr.write(f"could not be started: {error}\n")
        return NOT_STARTED_EXIT
    threading.Thread(target=_watch_parent, daemon=True).start()
    code = child.wait()
    if os.name == "posix":
        end_descendants()
    if code < 0 and os.name == "posix":
        with suppress(ImportError, OSError, ValueError):
            import resource

            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        with suppress(OSError, ValueError):
            signal.signal(-code, signal.SIG_DFL)
        os.kill(os.getpid(), -code)
    return code


if __name__ == "__main__":
    result = main(sys.argv[1:])
    sys.stdout.flush()
    os._exit(result & 0xFF if os.name == "posix" else result)
