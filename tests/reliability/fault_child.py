"""The real command with the machine's clock and mounts in a test's hands: ``surefoot ARGUMENTS``, run by faults.py.

``FAULT_SPEED``: so many seconds pass in one; ``FAULT_KNOBS``: a folder whose files, read at every look, say how far the
wall clock was set (``wall``) and how long the machine slept (``asleep``), seconds; ``FAULT_MOUNTS``: the mount list.
"""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from surefoot.guide.machine import RealMachine
from surefoot.journal import filesystem

SPEED = float(os.environ.get("FAULT_SPEED", "1"))
KNOBS = Path(os.environ.get("FAULT_KNOBS", "nowhere"))
SLEEP = time.sleep
BEGAN = time.monotonic()


def told(name: str) -> float:
    try:
        return float((KNOBS / name).read_text() or 0)
    except (OSError, ValueError):
        return 0.0


class Turned(RealMachine):
    """The machine in hand, by other clocks."""

    def now(self) -> datetime:
        return datetime.now(UTC) + timedelta(seconds=told("wall") + told("asleep"))

    def seconds(self) -> float:
        return (time.monotonic() - BEGAN) * SPEED

    def asleep_seconds(self) -> float | None:
        return told("asleep")

    def sleep(self, seconds: float) -> None:
        SLEEP(seconds / SPEED)


if __name__ == "__main__":
    for name in ("now", "seconds", "asleep_seconds", "sleep"):
        setattr(RealMachine, name, getattr(Turned, name))
    if mounts := os.environ.get("FAULT_MOUNTS"):
        filesystem.MOUNTS = Path(mounts)  # type: ignore[misc]
    from surefoot.cli.main import run

    run()
