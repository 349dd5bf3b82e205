"""What takes seconds to make, made once for the whole suite, however many processes it runs in."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from surefoot.journal import locks

LONGEST_SECONDS = 600.0


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """The folder of that name, filled by whichever process of this run comes first; the others wait, and only read.

    ``make``: given the folder, empty. What it raises is raised, and the next process tries again.
    """
    own = factory.getbasetemp()
    # Each of pytest-xdist's workers has a folder of its own in the folder of the run.
    top = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "made-once"
    top.mkdir(exist_ok=True)
    folder, whole = top / name, top / f"{name}.whole"
    with locks.held(top, name, f"{name} is being made", wait_seconds=LONGEST_SECONDS):
        if not whole.exists():
            folder.mkdir()
            make(folder)
            whole.touch()
    return folder
