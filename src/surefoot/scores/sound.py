"""Sound levels: correction for background noise, and the mean of several levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.errors import BadInput

NO_CORRECTION_FROM_DB = 15.0
UPPER_BOUND_BELOW_DB = 6.0
LARGEST_CORRECTION_DB = -10 * math.log10(1 - 10 ** (-0.1 * UPPER_BOUND_BELOW_DB))
"""1.26 dB, the correction at 6 dB above the background; beyond it the background is too loud to subtract."""


@dataclass(frozen=True, slots=True)
class SoundLevel:
    """A sound level of the unit, dB(A).

    ``level``: after correction; ``measured``, ``background``: as read; ``correction``: dB taken off;
    ``is_upper_bound``: the unit is at most this loud, the background hides how much quieter; ``note``: one sentence.
    """

    level: float
    measured: float
    background: float | None
    correction: float
    is_upper_bound: bool
    note: str


def corrected_level(level: float, background: float | None) -> SoundLevel:
    """The level of the unit alone, corrected for background noise by the rules of ISO 3744.

    K = -10 lg(1 - 10^(-0.1 d)) with d = level - background, both dB(A). From 15 dB on no correction; below 6 dB the
    largest one, 1.26 dB, is taken and the result is an upper bound (ISO 3744, background noise correction K1; ECMA
    TR/107 states 1.26 dB at 6 dB and 0.46 dB at 10 dB). ``background`` None: not measured, no correction. Raises
    BadInput for a level outside 0 to 140 dB(A).
    """
    for name, value in (("sound level", level), ("background", background)):
        if value is not None and not 0 <= value <= 140:
            raise BadInput(f"a {name} of {value:g} dB(A) cannot be.", remedy="Levels from 0 to 140 dB(A) are taken.")
    if background is None:
        return SoundLevel(level, level, None, 0.0, False, "not corrected: the background was not measured")
    above = level - background
    if above >= NO_CORRECTION_FROM_DB:
        return SoundLevel(level, level, background, 0.0, False, f"{above:.1f} dB above the background: no correction")
    if above < UPPER_BOUND_BELOW_DB:
        correction = LARGEST_CORRECTION_DB
        if above <= 0:
            why = "no louder than the background"
        else:
            why = f"only {above:.1f} dB above the background, less than the 6 dB that a correction needs"
        return SoundLevel(level - correction, level, background, correction, True, f"upper bound: {why}")
    correction = -10 * math.log10(1 - 10 ** (-0.1 * above))
    note = f"{above:.1f} dB above the background: {correction:.2f} dB taken off"
    return SoundLevel(level - correction, level, background, correction, False, note)


def mean_level(levels: Sequence[float]) -> float:
    """The energy mean of levels in dB: 10 lg(mean of 10^(0.1 L)) (ISO 3744). Raises BadInput for none."""
    if not levels or not all(math.isfinite(level) for level in levels):
        raise BadInput("a mean level needs at least one finite level in dB.")
    loudest = max(levels)
    return loudest + 10 * math.log10(sum(10 ** (0.1 * (level - loudest)) for level in levels) / len(levels))
