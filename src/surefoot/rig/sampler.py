"""All sensors as one: a sample, what is missing, and whether a ceiling has been passed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from surefoot.rig.protocols import SensorSource
from surefoot.runs import Channel

COLDEST_CELSIUS = -40.0
HOTTEST_CELSIUS = 150.0

# Any of the channels that begin so will do; else the sentence holds.
_NEEDS: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        ("cpu.temperature",),
        "No processor temperature: no ceiling can stop a run, and starts cannot be made comparable.",
    ),
    (("cpu.clock",), "No processor clock: stretched or lowered clocks cannot be seen."),
    (("cpu.power",), "No processor power: the power limit cannot be named as what holds the clock down."),
    (
        ("cpu.thermal-flag", "cpu.throttle-flag"),
        "No throttle counters: whether heat holds the clock down can only be guessed from the temperature.",
    ),
    (("gpu.temperature",), "No graphics temperature: no ceiling can stop a run that heats the graphics card."),
    (("gpu.clock",), "No graphics clock: what a graphics offset really gave cannot be seen."),
    (("cpu.fan", "gpu.fan", "board.fan", "gpu.duty", "board.duty"), "No fan speed: cooling cannot be compared."),
    (
        ("supply.count", "battery.charge"),
        "No supply or battery state: whether a run was on mains or battery has to be noted by hand.",
    ),
)


class Sampler:
    """Reads several sources as one; where two offer a channel the earlier is believed. Never raises."""

    def __init__(self, sources: Sequence[SensorSource]) -> None:
        self._sources = tuple(sources)

    @property
    def sources(self) -> tuple[SensorSource, ...]:
        """The sources, in the order in which they are believed."""
        return self._sources

    def channels(self) -> dict[str, str]:
        """Channel to the name of the source it comes from, sorted by channel."""
        found: dict[str, str] = {}
        for source in self._sources:
            for channel in source.channels():
                found.setdefault(channel, source.name)
        return dict(sorted(found.items()))

    def read(self) -> dict[str, float]:
        """One sample of everything that can be read now, in canonical channels and units."""
        sample: dict[str, float] = {}
        for source in self._sources:
            for channel, value in _read(source).items():
                sample.setdefault(channel, value)
        return sample

    def missing(self) -> tuple[str, ...]:
        """In words: what is not there, and what cannot be judged without it."""
        there = self.channels()
        said = [text for source in self._sources for text in source.missing()]
        for starts, text in _NEEDS:
            if not any(_begins(channel, start) for channel in there for start in starts):
                said.append(text)
        return tuple(said)


def _read(source: SensorSource) -> dict[str, float]:
    try:
        return {channel: value for channel, value in source.read().items() if believable(channel, value)}
    except (OSError, ValueError, RuntimeError):
        # A source must not raise; one that does all the same (a library's own trouble) must not end a run.
        return {}


def believable(channel: str, value: float) -> bool:
    """Whether a reading can be one; what cannot is as good as not read, so that a ceiling is not judged by it.

    No number is none; a temperature of exactly 0, of -40 and below or of 150 °C and above is a register read empty, a
    sensor not connected or a full byte (0, -128, 255; common practice).
    """
    if not math.isfinite(value):
        return False
    if channel.split(".")[1:2] != ["temperature"]:
        return True
    return value != 0 and COLDEST_CELSIUS < value < HOTTEST_CELSIUS


def _begins(channel: str, start: str) -> bool:
    return channel == start or channel.startswith(f"{start}.")


def over_ceiling(sample: Mapping[str, float], ceilings_celsius: Mapping[str, float]) -> tuple[str, float, float] | None:
    """The temperature that is furthest above its ceiling: (domain, value, ceiling) in Celsius, or None.

    ``ceilings_celsius``: by domain, as on the unit's card, or for one spot by ``domain.part``. A domain's ceiling
    holds for the whole of it and for its cores and dies; for other spots of it (a hot spot, the memory) only where
    the whole is not measured, since those run hotter by nature. A limit that the machine itself reports for a spot
    holds for that spot as well, whatever the card says: the lower of the two counts. A temperature at its ceiling is
    not above it.
    """
    worst: tuple[str, float, float] | None = None
    for name, value in sample.items():
        domain, _, rest = name.partition(".")
        quantity, _, part = rest.partition(".")
        if quantity != "temperature":
            continue
        limits = []
        named = ceilings_celsius.get(f"{domain}.{part}") if part else None
        if named is not None:
            limits.append(named)
        elif domain in ceilings_celsius and _ruled_by_domain(domain, part, sample):
            limits.append(ceilings_celsius[domain])
        own = sample.get(str(Channel(domain, "temperature-limit", part)))
        if own is not None:
            limits.append(own)
        if not limits:
            continue
        ceiling = min(limits)
        if value > ceiling and (worst is None or value - ceiling > worst[1] - worst[2]):
            worst = (f"{domain}.{part}" if part else domain, value, ceiling)
    return worst


def _ruled_by_domain(domain: str, part: str, sample: Mapping[str, float]) -> bool:
    if not part or re.match(r"(core|die|package)-", part):
        return True
    return f"{domain}.temperature" not in sample
