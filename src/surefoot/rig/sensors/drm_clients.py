"""How busy a graphics card is, from what each program has used of it: ``/proc/PID/fdinfo`` (kernel documentation, DRM
client usage stats: ``drm-engine-NAME: N ns``, ``drm-client-id``, ``drm-pdev``)."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from surefoot.rig.sensors.files import read_text

LOOK_AGAIN_SECONDS = 10.0
"""Which programs hold a card open changes seldom; looking through all of them costs more than reading those."""
_LINE = re.compile(r"^(drm-[a-z0-9-]+):[ \t]*(\S+)(?:[ \t]+(\S+))?", re.MULTILINE)


class DrmClients:
    """``gpu.busy``: the share of time that the busiest engine worked since the last sample, in percent.

    Only programs whose files this user may read count, so that it is a lower bound. ``domain``: which card it is
    said of where several are open: the one most used.
    """

    name = "DRM clients"

    def __init__(self, root: Path, clock: Callable[[], float] = time.monotonic, domain: str = "gpu") -> None:
        self._root, self._clock, self._domain = root, clock, domain
        self._files: list[Path] = []
        self._looked = -LOOK_AGAIN_SECONDS * 2
        self._before: dict[tuple[str, str, str], float] = {}
        self._last = clock()
        self._used(self._last)

    def channels(self) -> tuple[str, ...]:
        """``gpu.busy`` where any program with a card open can be read."""
        return (f"{self._domain}.busy",) if self._before else ()

    def read(self) -> dict[str, float]:
        """One sample."""
        now = self._clock()
        seconds, self._last = now - self._last, now
        used = self._used(now)
        if seconds <= 0 or not used:
            return {}
        return {f"{self._domain}.busy": min(100.0, 100.0 * max(used.values()) / 1e9 / seconds)}

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own."""
        return ()

    def _used(self, now: float) -> dict[tuple[str, str], float]:
        """Nanoseconds since the last look, by card and engine."""
        if now - self._looked >= LOOK_AGAIN_SECONDS:
            self._files, self._looked = list(_open_cards(self._root)), now
        after: dict[tuple[str, str, str], float] = {}
        for path in self._files:
            text = read_text(path)
            if not text:
                continue
            card, client, engines = parse_fdinfo(text)
            # One client may hold a card open through several descriptors, each of which tells the same.
            for engine, spent in engines.items():
                after[card, client or str(path), engine] = spent
        used: dict[tuple[str, str], float] = {}
        for key, spent in after.items():
            more = max(0.0, spent - self._before.get(key, spent))
            used[key[0], key[2]] = used.get((key[0], key[2]), 0.0) + more
        self._before = after
        return used


def parse_fdinfo(text: str) -> tuple[str, str, dict[str, float]]:
    """The card, the client's identity and the nanoseconds of each engine from one fdinfo file. Pure."""
    card = client = ""
    engines: dict[str, float] = {}
    for name, value, measure in _LINE.findall(text):
        if name == "drm-pdev":
            card = value
        elif name == "drm-client-id":
            client = value
        elif name.startswith("drm-engine-") and not name.startswith("drm-engine-capacity") and measure == "ns":
            try:
                engines[name.removeprefix("drm-engine-")] = float(value)
            except ValueError:
                continue
    return card, client, engines


def _open_cards(root: Path) -> Iterator[Path]:
    try:
        folders = [entry for entry in (root / "proc").iterdir() if entry.name.isdigit()]
    except OSError:
        return
    for folder in folders:
        try:
            links = list((folder / "fd").iterdir())
        except OSError:
            continue
        for link in links:
            try:
                target = os.readlink(link)
            except OSError:
                continue
            if target.startswith("/dev/dri/"):
                yield folder / "fdinfo" / link.name
