"""A lock of the operating system's on an open file: it dies with its process, and with nothing else.

On Linux and macOS a POSIX record lock (`fcntl.lockf`), not `flock`: a record lock belongs to the process and is not
inherited by a fork, so that an orphaned worker cannot hold what its killed parent held. Such a lock does not exclude
the same process from itself. On Windows `msvcrt.locking` on a byte far past the end, so that the text stays readable.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

_LOCKED_BYTE = 0x7FFF_FFF0


def lock_path(folder: Path, what: str) -> Path:
    """The lock file of a name in a folder: a hash, so that any name is safe on any file system."""
    digest = hashlib.sha256(what.encode()).hexdigest()[:24]
    return folder / "locks" / f"{digest}.lock"


if sys.platform == "win32":  # pragma: no cover
    import msvcrt

    def try_lock(handle: int) -> bool:
        """Take the lock of an open file, if no other process holds it. Raises OSError."""
        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def unlock(handle: int) -> None:
        """Give the lock back. Raises OSError."""
        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def try_lock(handle: int) -> bool:
        """Take the lock of an open file, if no other process holds it. Raises OSError."""
        try:
            fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, _LOCKED_BYTE)
        except (BlockingIOError, PermissionError):
            return False
        return True

    def unlock(handle: int) -> None:
        """Give the lock back. Raises OSError."""
        fcntl.lockf(handle, fcntl.LOCK_UN, 1, _LOCKED_BYTE)
