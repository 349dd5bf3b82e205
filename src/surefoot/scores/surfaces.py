"""Hand temperature: a surface reading beside the long-contact burn thresholds of ISO 13732-1, as information."""

from __future__ import annotations

import math
from dataclasses import dataclass

from surefoot.errors import BadInput

CAUTION = (
    "For information only: no medical judgement and no judgement of compliance. Thresholds are for healthy adult skin;"
    " discomfort begins well below them."
)


@dataclass(frozen=True, slots=True)
class ContactThreshold:
    """A burn threshold: ``celsius`` at a contact of ``minutes`` minutes; ``contact`` in words."""

    celsius: float
    minutes: float
    contact: str


# ISO 13732-1, burn thresholds at long contact (from memory): 43 and 48 C hold for every material; 51 C is that of
# uncoated metal, the strictest; plastics tolerate more in one minute.
THRESHOLDS = (
    ContactThreshold(43.0, 480.0, "8 hours and longer"),
    ContactThreshold(48.0, 10.0, "10 minutes"),
    ContactThreshold(51.0, 1.0, "1 minute"),
)


@dataclass(frozen=True, slots=True)
class SurfaceVerdict:
    """A surface temperature beside the thresholds.

    ``reached``: the thresholds at or below it, the coolest first; ``words``: one sentence; ``caution``: to be
    shown with it.
    """

    celsius: float
    reached: tuple[ContactThreshold, ...]
    words: str
    caution: str = CAUTION


def judge(celsius: float) -> SurfaceVerdict:
    """Which long-contact thresholds of ISO 13732-1 a surface has reached. Raises BadInput outside -40 to 150 C."""
    if not math.isfinite(celsius) or not -40 <= celsius <= 150:
        raise BadInput(f"a surface of {celsius:g} °C cannot be.", remedy="Give degrees Celsius, from -40 to 150.")
    reached = tuple(threshold for threshold in THRESHOLDS if celsius >= threshold.celsius)
    if not reached:
        first = THRESHOLDS[0]
        words = f"{celsius:.1f} °C is below every long-contact threshold ({first.celsius:g} °C for {first.contact})"
    else:
        last = reached[-1]
        words = f"{celsius:.1f} °C is past the threshold for {last.contact} of contact ({last.celsius:g} °C)"
    return SurfaceVerdict(celsius, reached, words)
