"""Hands that know what was there before the first change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, runtime_checkable

from surefoot.rig.protocols import Hands


@runtime_checkable
class KnowsFound(Protocol):
    """Hands whose stock is what they found, as absolute values by knob."""

    @property
    def found(self) -> Mapping[str, float]: ...


def found_by(hands: Hands) -> Mapping[str, float]:
    """What the hands found before the first change, by knob; {} for hands that know no such values."""
    return hands.found if isinstance(hands, KnowsFound) else {}
