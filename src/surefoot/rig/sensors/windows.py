"""Windows' own performance counters as a sensor source."""

from __future__ import annotations

from typing import Any

from surefoot.rig.windows.counters import PATHS, channels_of


class WindowsCounters:
    """Clocks, what limits them, thermal zones, power where there is a meter, graphics use.

    ``counters``: for tests, anything with ``read()``; otherwise a query is opened, and the source is empty where
    that cannot be done.
    """

    name = "performance counters"

    def __init__(self, counters: Any = None) -> None:
        self._counters = counters if counters is not None else _open()
        self._channels = tuple(self.read())

    def channels(self) -> tuple[str, ...]:
        """Those that could be read when the source was made."""
        return self._channels

    def read(self) -> dict[str, float]:
        """One sample; rates are over the time since the last."""
        return channels_of(self._counters.read()) if self._counters is not None else {}

    def missing(self) -> tuple[str, ...]:
        """Nothing of its own; `surefoot check` says who answers which question."""
        return ()


def _open() -> Any:
    from surefoot.rig.windows.pdh import Counters

    try:
        return Counters(PATHS)
    except (OSError, AttributeError):
        return None
