"""Writing the kernel's one-value files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from surefoot.errors import MachineError
from surefoot.rig.sensors.files import read_number

NO_RIGHTS: Final = "it may be written by the administrator only"
"""Why a door is closed that a helper with the administrator's rights opens."""


def number_in(path: Path) -> float:
    """The number a file holds. Raises MachineError when there is none."""
    value = read_number(path)
    if value is None:
        raise MachineError("it cannot be read.", where=str(path))
    return value


def write_text(path: Path, text: str) -> None:
    """Write a file of the kernel's in one piece. Raises MachineError with the kernel's own reason."""
    try:
        # Unbuffered and never created: one write is one command to the kernel, and a file that is not there is no door.
        handle = os.open(path, os.O_WRONLY)
        try:
            os.write(handle, text.encode("ascii"))
        finally:
            os.close(handle)
    except OSError as error:
        raise MachineError(
            f"the kernel did not take {text.strip()!r}: {error.strerror}.",
            where=str(path),
            remedy="Nothing past a lock is tried. Where it is closed to this user, see `surefoot knobs`.",
        ) from None


def closed(path: Path) -> str:
    """Why a file cannot be written by this user, in words; "" when it can."""
    if not path.exists():
        return "it is not there"
    return "" if os.access(path, os.W_OK) else NO_RIGHTS
