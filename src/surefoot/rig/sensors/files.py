"""Reading the kernel's one-value files: what cannot be read now is None, never an error."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

# Sensors that are not connected, and limits that are not set, read as the ends of some register.
SANE_CELSIUS = (-40.0, 150.0)
SANE_LIMIT_CELSIUS = (40.0, 130.0)


def read_text(path: Path) -> str | None:
    """The text of a file without the line's end; None when it cannot be read or is not text."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return None


def read_number(path: Path) -> float | None:
    """The number that a file holds; None when it cannot be read or is none."""
    text = read_text(path)
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def in_order(folder: Path, pattern: str) -> list[Path]:
    """What matches in a folder, numbers in the names in their own order; [] when there is no such folder."""
    try:
        return sorted(folder.glob(pattern), key=lambda path: _natural(path.name))
    except OSError:
        return []


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name) if part]


def word(text: str) -> str:
    """A label as the part of a channel's name: lower-case letters, digits and ``-``; "" when nothing is left."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


@dataclass(frozen=True, slots=True)
class FileChannel:
    """One channel that is one file: the value is the file's number times ``scale``.

    ``low`` to ``high``: what is believed, in the channel's unit; anything else is left out. ``fault``: a file that
    holds 1 while the sensor is out of order.
    """

    channel: str
    path: Path
    scale: float
    low: float = -math.inf
    high: float = math.inf
    fault: Path | None = None

    def read(self) -> float | None:
        """The value now, in the channel's unit, or None."""
        raw = read_number(self.path)
        if raw is None or (self.fault is not None and read_number(self.fault) == 1):
            return None
        value = raw * self.scale
        return value if self.low <= value <= self.high else None


def unique(channels: Iterable[FileChannel]) -> Iterator[FileChannel]:
    """The channels with names made different: a second ``cpu.temperature.core-0`` becomes ``...core-0-2``.

    A limit comes after what it limits and gets the same ending.
    """
    taken: set[str] = set()
    asked = given = ""
    for entry in channels:
        name, number = entry.channel, 2
        if "-limit" in name and name.replace("-limit", "") == asked:
            quantity = asked.split(".")[1]
            name = given.replace(f".{quantity}", f".{quantity}-limit", 1)
        while name in taken:
            stem = entry.channel if entry.channel.count(".") > 1 else f"{entry.channel}.other"
            name, number = f"{stem}-{number}", number + 1
        taken.add(name)
        if "-limit" not in name:
            asked, given = entry.channel, name
        yield FileChannel(name, entry.path, entry.scale, entry.low, entry.high, entry.fault)


class FileSource:
    """A sensor source made of files; the base of those that are no more than that."""

    name = "files"

    def __init__(self, entries: Iterable[FileChannel]) -> None:
        self._entries = tuple(unique(entries))
        # Offered is what could be read once: a file that is always empty is no sensor.
        self._channels = tuple(entry.channel for entry in self._entries if entry.read() is not None)

    def channels(self) -> tuple[str, ...]:
        """The channels that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample; what cannot be read now is left out."""
        sample = {}
        for entry in self._entries:
            value = entry.read()
            if value is not None:
                sample[entry.channel] = value
        return sample

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own: what a machine lacks is told by `surefoot.rig.sampler` over all sources."""
        return ()
