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
from contextlib import suppress

NOT_STARTED_EXIT = 127
"""As a POSIX shell says that a command could not be started."""


def end_everything() -> None:
    """End the command and all that it started, and this process."""
    if os.name == "posix":
        os.killpg(0, signal.SIGKILL)
    import psutil

    with suppress(psutil.Error):
        for child in psutil.Process().children(recursive=True):
            with suppress(psutil.Error):
                child.kill()
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
    try:
        child = subprocess.Popen(arguments, stdin=subprocess.DEVNULL)
    except OSError as error:
        sys.stderr.write(f"could not be started: {error}\n")
        return NOT_STARTED_EXIT
    threading.Thread(target=_watch_parent, daemon=True).start()
    code = child.wait()
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
