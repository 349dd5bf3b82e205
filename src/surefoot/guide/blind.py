"""A ceiling whose temperature is not read any more: the run cannot be judged, and must not go on unwatched."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from surefoot.guide.machine import Machine

UNSEEN_SECONDS: Final = 5.0


def read_in(sample: Mapping[str, float]) -> set[str]:
    """The domains whose temperature a sample tells."""
    names = (name.split(".") for name in sample)
    return {parts[0] for parts in names if parts[1:2] == ["temperature"]}


class Blind:
    """Watches that what a ceiling needs, and once told, is still told.

    A domain whose temperature was never read is not watched: that is said before the run, and is the user's choice.
    ``seen``: the domains that were read at this bench before, as by a log that stopped while the start was waited for.
    """

    def __init__(self, machine: Machine, ceilings_celsius: Mapping[str, float], seen: Iterable[str] = ()) -> None:
        self._machine, self._ceilings = machine, ceilings_celsius
        self._seen: dict[str, float] = dict.fromkeys(seen, machine.seconds())

    def next(self, sample: Mapping[str, float]) -> str | None:
        """After each sample: in words, the ceiling that cannot be judged any more; None while all can."""
        now = self._machine.seconds()
        self._seen |= dict.fromkeys(read_in(sample), now)
        for named, ceiling in self._ceilings.items():
            domain = named.partition(".")[0]
            unseen = now - self._seen.get(domain, now)
            if unseen > UNSEEN_SECONDS:
                return (
                    f"the {domain} temperature has not been read for {unseen:.0f} s, so its ceiling of {ceiling:g} °C "
                    "cannot be judged"
                )
        return None
