"""Folders for files in the making whose process may be killed: the next one there clears away what it left."""

from __future__ import annotations

import hashlib
import os
import platform
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def making(beside: Path | None, prefix: str) -> Iterator[Path]:
    """A folder in ``beside`` (None: the system's temporary one), gone when the block ends.

    Its name carries this machine and this process: what processes of this machine that are no more left there under
    the prefix is removed first. Another machine's, on a shared folder, is its own to clear.
    """
    place = beside or Path(tempfile.gettempdir())
    clear(place, prefix)
    folder = Path(tempfile.mkdtemp(prefix=f"{_ours(prefix)}{os.getpid()}-", dir=place))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def clear(place: Path, prefix: str) -> None:
    """Remove the folders of that prefix whose process, on this machine, is no more."""
    left = [path for path in place.glob(f"{_ours(prefix)}*-*") if path.is_dir()]
    if not left:
        return
    import psutil

    for path in left:
        number = path.name.removeprefix(_ours(prefix)).partition("-")[0]
        if number.isdecimal() and not psutil.pid_exists(int(number)):
            shutil.rmtree(path, ignore_errors=True)


def _ours(prefix: str) -> str:
    # Not the machine's name itself: the folder may be shared.
    return f"{prefix}-{hashlib.sha256(platform.node().encode()).hexdigest()[:8]}-"
