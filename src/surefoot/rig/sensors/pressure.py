"""How much programs had to wait, ``/proc/pressure`` (kernel documentation, PSI): percent of the last ten seconds in
which some task stood still for the processor, memory or disk."""

from __future__ import annotations

import re
from pathlib import Path

from surefoot.rig.sensors.files import read_text

FOLDER = "proc/pressure"
KINDS = ("cpu", "memory", "io")
_SOME = re.compile(r"^some avg10=([0-9.]+)", re.MULTILINE)


class Pressure:
    """``system.busy.waiting-cpu``, ``-memory`` and ``-io``: what else ran beside a load shows itself here."""

    name = "pressure"

    def __init__(self, root: Path) -> None:
        self._root = root
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """Percent."""
        found = {}
        for kind in KINDS:
            match = _SOME.search(read_text(self._root / FOLDER / kind) or "")
            if match:
                found[f"system.busy.waiting-{kind}"] = float(match[1])
        return found

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()
