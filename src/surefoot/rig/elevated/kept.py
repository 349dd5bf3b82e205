"""What the helper keeps between one run of it and the next, in a folder that only the administrator may write to.

It lies where the system forgets it at a restart, as the interfaces forget their settings; each entry names its boot all
the same. The word of the one who asks is not taken for what was found first.
"""

from __future__ import annotations

import json
import os
import stat
import time
from pathlib import Path
from typing import Any, Final

FOLDER: Final = Path("/run/surefoot")
FOUND: Final = "found-first.json"
STEPPED_IN: Final = "stepped-in.jsonl"
MOST_BYTES: Final = 1_000_000
FORMER_SECONDS: Final = 25.0


class Kept:
    """``folder``: None keeps nothing (a system without such a place); ``boot``: identity of this boot."""

    def __init__(self, folder: Path | None, boot: str) -> None:
        self.folder, self._boot = folder, boot
        self._held = -1
        if folder is not None:
            folder.mkdir(mode=0o755, exist_ok=True)
            found = os.lstat(folder)
            if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid() or found.st_mode & 0o022:
                raise OSError(None, f"{folder} is no folder of the administrator's alone")
        self._values = self._read()

    def alone(self, within: float = FORMER_SECONDS) -> bool:
        """Wait until no other helper is at work, which may be putting values back; held until this process ends."""
        if self.folder is None:
            return True
        from surefoot.os_lock import lock_path, try_lock

        path = lock_path(self.folder, "helper")
        path.parent.mkdir(mode=0o755, exist_ok=True)
        self._held = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o600)
        until = time.monotonic() + within
        while not try_lock(self._held):
            if time.monotonic() > until:
                return False
            time.sleep(0.05)
        self._values = self._read()
        return True

    def first(self, door: str, now: float) -> float:
        """What the door stood at when it was first looked at under this boot; ``now`` the first time, on disk then."""
        if door not in self._values:
            self._values[door] = now
            self._write()
        return self._values[door]

    def stepped_in(self, at: str, doors: list[str], at_stock: bool, words: str) -> None:
        """Write down that values were put back when the pipe ended."""
        if self.folder is None:
            return
        line = json.dumps({"at": at, "doors": doors, "at_stock": at_stock, "words": words}) + "\n"
        with (self.folder / STEPPED_IN).open("a", encoding="utf-8") as file:
            file.write(line)

    def _read(self) -> dict[str, float]:
        if self.folder is None:
            return {}
        try:
            read: Any = json.loads((self.folder / FOUND).read_text(encoding="utf-8"))
            if read["boot"] != self._boot:
                return {}
            return {str(name): float(value) for name, value in read["values"].items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return {}

    def _write(self) -> None:
        if self.folder is None:
            return
        path = self.folder / FOUND
        new = path.with_suffix(".new")
        with new.open("w", encoding="utf-8") as file:
            json.dump({"boot": self._boot, "values": self._values}, file)
            file.flush()
            os.fsync(file.fileno())
        new.replace(path)
