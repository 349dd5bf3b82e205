"""What macOS tells without the administrator: whether heat holds the processor's speed (``pmset -g therm``, its
manual page). Temperatures, clocks and power need the administrator there and are not read."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable

SECONDS = 5.0
_SPEED = re.compile(r"CPU_Speed_Limit\s*=\s*(\d+)")


def flags_of(text: str) -> dict[str, float]:
    """``cpu.thermal-flag`` from what the command prints: 1 where the speed limit is below 100 percent. Pure.

    A system on which no limit was ever recorded says so in words: that is 0, not unknown.
    """
    match = _SPEED.search(text)
    if match:
        return {"cpu.thermal-flag": float(int(match[1]) < 100)}
    return {"cpu.thermal-flag": 0.0} if "No CPU power status has been recorded" in text else {}


class ThermalStatus:
    """``cpu.thermal-flag``. ``ask``: a stand-in for the command, for tests."""

    name = "pmset"

    def __init__(self, ask: Callable[[], str] | None = None) -> None:
        self._ask = ask or _ask
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """The flag, where the command answers."""
        return self._channels

    def read(self) -> dict[str, float]:
        """0 or 1."""
        return flags_of(self._ask())

    def missing(self) -> tuple[str, ...]:
        """What this system keeps for the administrator."""
        return (
            "macOS gives temperatures, clocks and power to the administrator only: they are not read here. A log "
            "that another program writes can stand in for them.",
        )


def _ask() -> str:
    program = shutil.which("pmset")
    if program is None:
        return ""
    try:
        done = subprocess.run(
            [program, "-g", "therm"], capture_output=True, text=True, timeout=SECONDS, check=False, errors="replace"
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout
