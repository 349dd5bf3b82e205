"""Which system this is, as a value: so that what is done on another one is checked and tested on this one too."""

from __future__ import annotations

import sys
from typing import Literal

SystemName = Literal["linux", "windows", "macos", "other"]
_NAMES: dict[str, SystemName] = {"linux": "linux", "win32": "windows", "darwin": "macos"}


def system_name() -> SystemName:
    """The system that this process runs on."""
    return _NAMES.get(sys.platform, "other")
