"""The helper on Windows: UAC asks, and a named pipe takes the place of the standard ones. **Not run on Windows.**

Written by Microsoft's documentation of ``ShellExecuteW`` (verb ``runas``) and of known folders. UAC hands a process
no pipe of another's, so the helper is told the name of one on its command line; by its default rights only its owner,
administrators and the system may write to it.
"""

from __future__ import annotations

import contextlib
import ctypes
import subprocess
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection, Listener
from pathlib import Path, PureWindowsPath
from queue import Empty, Queue
from typing import Any, Final

from surefoot.errors import MachineError
from surefoot.rig.elevated.messages import LONGEST_LINE
from surefoot.rig.elevated.trust import helper_file

PROGRAM_FILES: Final = 0x26
SYSTEM: Final = 0x25
"""CSIDL_PROGRAM_FILES and CSIDL_SYSTEM."""
SW_HIDE: Final = 0
COMES_SECONDS: Final = 60.0


def unguarded(paths: list[str], guarded: list[str]) -> str:
    """The first of the paths that lies in none of the folders which Windows guards, in words; "" when all do. Pure."""
    folders = [PureWindowsPath(one) for one in guarded]
    for text in paths:
        path = PureWindowsPath(text)
        if ".." in path.parts or not any(folder in path.parents for folder in folders):
            return f"{text} lies outside {' and '.join(guarded)}"
    return ""


def command_words(interpreter: str, address: str) -> tuple[str, str]:
    """Program and parameters, as ``ShellExecuteW`` takes them. Pure."""
    return interpreter, subprocess.list2cmdline(["-I", "-S", "-B", str(helper_file()), "--pipe", address])


class WindowsEnds:
    """A helper behind UAC. ``elevate``: starts a program with more rights; ``folder``: a known folder; for tests."""

    def __init__(
        self,
        elevate: Callable[[str, str], None] | None = None,
        folder: Callable[[int], str] | None = None,
        family: str = "AF_PIPE",
    ) -> None:
        folder = folder or _folder
        interpreter = str(Path(sys.executable).resolve())
        guarded = [folder(PROGRAM_FILES), folder(SYSTEM)]
        if words := unguarded([interpreter, str(helper_file())], guarded):
            raise MachineError(
                f"the helper is not started with more rights: {words}, so that it could be changed without them.",
                remedy="Install Python and Surefoot for all users, under Program Files. Nothing was applied.",
            )
        with Listener(family=family) as listener:
            address = str(listener.address)
            (elevate or _run_as)(*command_words(interpreter, address))
            self._end: Connection[Any, Any] = _accepted(listener)

    def send(self, line: bytes) -> None:
        """As `Ends` has it."""
        self._end.send_bytes(line)

    def receive(self) -> bytes:
        """As `Ends` has it."""
        try:
            return self._end.recv_bytes(LONGEST_LINE)
        except (EOFError, OSError):
            return b""

    def said(self) -> str:
        """Nothing: UAC gives a process no standard error of ours."""
        return ""

    def close(self) -> None:
        """End the pipe; the helper goes by itself."""
        with contextlib.suppress(OSError):
            self._end.close()


def _accepted(listener: Listener) -> Connection[Any, Any]:
    # Waited for in a thread: a pipe has no time limit of its own, and a helper that refuses never comes.
    came: Queue[Connection[Any, Any]] = Queue()
    threading.Thread(target=lambda: came.put(listener.accept()), daemon=True).start()
    try:
        return came.get(timeout=COMES_SECONDS)
    except Empty:
        raise MachineError("the helper with the administrator's rights did not come.") from None


def _folder(number: int) -> str:
    buffer = ctypes.create_unicode_buffer(260)
    if ctypes.windll.shell32.SHGetFolderPathW(None, number, None, 0, buffer) != 0:  # type: ignore[attr-defined,unused-ignore]
        raise MachineError("Windows does not tell where programs lie.", remedy="Nothing was applied.")
    return buffer.value


def _run_as(program: str, parameters: str) -> None:
    shell = ctypes.windll.shell32  # type: ignore[attr-defined,unused-ignore]
    if shell.ShellExecuteW(None, "runas", program, parameters, None, SW_HIDE) <= 32:
        raise MachineError("the administrator's rights were not given.", remedy="Nothing was applied.")
