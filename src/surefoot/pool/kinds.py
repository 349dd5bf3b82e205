"""Which group a knob of a unit belongs to: its platform, its part family, its unit of measure."""

from __future__ import annotations

import re
from collections.abc import Sequence

from surefoot.search.run_evidence import part_of
from surefoot.units import Knob, Unit

UNKNOWN = "unknown"
BY = "platform"
_PART_NAMES = {
    "cpu": ("cpu", "processor"),
    "gpu": ("gpu", "graphics"),
    "memory": ("memory", "ram"),
}
"""What a card may call the part of a domain; *common practice, no source*."""


def tidy(text: str) -> str:
    """A name in the form in which names are compared: lower case, single spaces."""
    return re.sub(r"\s+", " ", text).strip().casefold()


def platform_of(unit: Unit, knob: Knob, by: str = BY) -> str:
    """The platform of a knob: the card's part of that name, else the part that the knob's domain is of."""
    part = part_of(knob.domain)
    for key in (by, knob.domain, *_PART_NAMES.get(part, (part,))):
        for name, text in unit.parts.items():
            if tidy(name) == tidy(key) and text.strip():
                return tidy(text)
    return UNKNOWN


def family_of(unit: Unit, platform: str) -> str:
    """The card's part ``family``, else the platform without its last word."""
    for name, text in unit.parts.items():
        if tidy(name) == "family" and text.strip():
            return tidy(text)
    return family_by_name(platform)


def family_by_name(platform: str) -> str:
    """A platform's name without its last word; one word stays."""
    words: Sequence[str] = platform.split()
    return " ".join(words[:-1]) if len(words) > 1 else platform
