"""Files that are there whole or not at all, and on the disk once they are there."""

from __future__ import annotations

import errno
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO


def put(made: Path, target: Path, *, overwrite: bool) -> None:
    """Copy a finished file to its place: there whole and on the disk when this returns, else not there.

    Where the system can, the copy has no name until it is whole, so that a kill leaves nothing. Raises FileExistsError
    when the target is there and ``overwrite`` is not given, OSError when it cannot be written.
    """

    def copy(into: BinaryIO) -> None:
        with made.open("rb") as source:
            shutil.copyfileobj(source, into, 1 << 20)

    _put(copy, target, overwrite)


def put_bytes(content: bytes, target: Path, *, overwrite: bool) -> None:
    """As `put`, from memory."""
    _put(lambda into: into.write(content), target, overwrite)


def _put(fill: Callable[[BinaryIO], object], target: Path, overwrite: bool) -> None:
    if target.exists() and not overwrite:
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target))
    part = target.with_name(f".{target.name}.part")
    if not _nameless(fill, target, part):
        try:
            with part.open("wb") as copy:
                _fill(copy, fill)
            os.replace(part, target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    sync_folder(target.parent)


def _nameless(fill: Callable[[BinaryIO], object], target: Path, part: Path) -> bool:
    """Write by way of a file without a name; False where that cannot be done."""
    flag = getattr(os, "O_TMPFILE", None)
    if flag is None or not Path("/proc/self/fd").is_dir():
        return False
    try:
        handle = os.open(target.parent, flag | os.O_RDWR, 0o644)
    except OSError:
        return False
    with open(handle, "wb") as copy:
        _fill(copy, fill)
        try:
            try:
                _name(handle, target)
            except FileExistsError:
                part.unlink(missing_ok=True)
                _name(handle, part)
                os.replace(part, target)
        except OSError:
            return False
    return True


def _name(handle: int, path: Path) -> None:
    # With a folder given, which an absolute path makes no use of, Python asks for the link to be followed.
    os.link(f"/proc/self/fd/{handle}", path, src_dir_fd=handle, follow_symlinks=True)


def _fill(copy: BinaryIO, fill: Callable[[BinaryIO], object]) -> None:
    fill(copy)
    copy.flush()
    os.fsync(copy.fileno())


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, each one's name on the disk when this returns."""
    missing = []
    at = folder
    while not at.exists() and at != at.parent:
        missing.append(at)
        at = at.parent
    folder.mkdir(parents=True, exist_ok=True)
    for made in missing:
        # A folder whose own name was not flushed is lost with all that is in it.
        sync_folder(made.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries, so that a file just made in it survives a power loss. Windows has no such call."""
    if sys.platform == "win32":  # pragma: no cover
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except PermissionError:
        # A folder above the data directory that we may pass but not read: there is no more that we could do.
        return
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
