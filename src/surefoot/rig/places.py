"""Whether a folder can be written to, tried and not guessed."""

from __future__ import annotations

import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Place:
    """A folder as it stands: whether it is there, can be written to (``why_not`` says otherwise), and has room."""

    folder: Path
    exists: bool
    writable: bool
    why_not: str
    free_bytes: int | None


def look_at(folder: Path) -> Place:
    """Try a folder: a small file is written, forced to the disk, and removed. A folder not yet there is not made.

    Then its nearest parent answers by its permissions.
    """
    there = folder.is_dir()
    why_not = _try_to_write(folder) if there else _could_be_made(folder)
    return Place(folder, there, not why_not, why_not, _free(folder))


def _try_to_write(folder: Path) -> str:
    try:
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".try-") as file:
            file.write(b"surefoot")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return f"a file cannot be written there ({error.strerror or error})"
    return ""


def _nearest(folder: Path) -> Path:
    for parent in (folder, *folder.parents):
        if parent.exists():
            return parent
    return Path(folder.anchor or ".")


def _could_be_made(folder: Path) -> str:
    nearest = _nearest(folder)
    if not nearest.is_dir():
        return f"{nearest} is not a folder"
    if not os.access(nearest, os.W_OK | os.X_OK):
        return f"the folder cannot be made in {nearest}"
    return ""


def _free(folder: Path) -> int | None:
    try:
        return shutil.disk_usage(_nearest(folder)).free
    except OSError:
        return None
