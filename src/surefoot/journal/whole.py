"""Room to make files in, of which a killed process leaves nothing behind; `surefoot.whole_file` puts them in place."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

WORK = "work"
"""Name of the folder, beside the journal, for files in the making; there only while one is."""


@contextmanager
def workroom(home: Path) -> Iterator[Path]:
    """A folder for files in the making, gone when the block ends.

    It lies in the data directory and carries its process's number, so that `sweep` finds it should the process be
    killed. Where nothing can be written there, it is one of the system's temporary folders.
    """
    sweep(home)
    try:
        (home / WORK).mkdir(exist_ok=True)
        folder = Path(tempfile.mkdtemp(prefix=f"{os.getpid()}-", dir=home / WORK))
    except OSError:
        with tempfile.TemporaryDirectory(prefix="surefoot-") as elsewhere:
            yield Path(elsewhere)
        return
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        with suppress(OSError):
            (home / WORK).rmdir()


def sweep(home: Path) -> None:
    """Remove what processes that are no more left in the making. Costs one look where there is nothing."""
    work = home / WORK
    if not work.is_dir():
        return
    import psutil

    for folder in work.iterdir():
        number = folder.name.partition("-")[0]
        if number.isdecimal() and not psutil.pid_exists(int(number)):
            shutil.rmtree(folder, ignore_errors=True)
    with suppress(OSError):
        work.rmdir()
