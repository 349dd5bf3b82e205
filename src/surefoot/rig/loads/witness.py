"""What the sensors saw while somebody else's load was run: how busy the parts were, and how much power they took."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

LOOK_SECONDS = 1.0
KEPT = 36_000


class Witness:
    """Looks once a second at most. ``read``: one sample of the sensors by channel; None for those of this machine."""

    def __init__(self, read: Callable[[], dict[str, float]] | None = None) -> None:
        self._read = read
        self._last = float("-inf")
        self._seen: dict[str, list[float]] = {}

    def look(self) -> None:
        """Take a sample, if the last one is old enough. Never raises: a witness that sees nothing says nothing."""
        now = time.monotonic()
        if now - self._last < LOOK_SECONDS:
            return
        self._last = now
        sample = self._ask()
        for part in ("cpu", "gpu"):
            power, limit = sample.get(f"{part}.power"), sample.get(f"{part}.power-limit")
            shares = {
                f"{part} busy": _share(sample.get(f"{part}.busy"), 100.0),
                f"{part} power share": _share(power, limit),
            }
            for name, value in shares.items():
                if value is not None and len(kept := self._seen.setdefault(name, [])) < KEPT:
                    kept.append(value)

    def _ask(self) -> dict[str, float]:
        if self._read is None:
            from surefoot.rig.sampler import Sampler
            from surefoot.rig.sensors import found

            self._read = Sampler(found()).read
        sample = dict(self._read())
        if "cpu.busy" not in sample:
            import psutil

            sample["cpu.busy"] = float(psutil.cpu_percent(None))
            if "cpu busy" not in self._seen:
                # The first answer is about no time at all (psutil's documentation).
                self._seen["cpu busy"] = []
                del sample["cpu.busy"]
        return sample

    def told(self) -> dict[str, Any]:
        """For the record: the median of each share."""
        from statistics import median

        seen = {name: round(median(values), 3) for name, values in self._seen.items() if values}
        return {"witness": seen} if seen else {}

    def words(self) -> str:
        """In a sentence; "" when nothing was seen."""
        seen = self.told().get("witness", {})
        if not seen:
            return ""
        names = {"cpu": "processor", "gpu": "graphics"}
        parts = []
        for part, called in names.items():
            busy, power = seen.get(f"{part} busy"), seen.get(f"{part} power share")
            if busy is None and power is None:
                continue
            said = [f"{busy:.0%} busy"] if busy is not None else []
            said += [f"{power:.0%} of its power limit"] if power is not None else []
            parts.append(f"{called} {' at '.join(said)}")
        return f"Seen by the sensors (median): {'; '.join(parts)}."


def _share(value: float | None, of: float | None) -> float | None:
    return value / of if value is not None and of else None
