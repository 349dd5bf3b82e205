"""Temperatures re-referred to one room temperature."""

from __future__ import annotations

import math
from dataclasses import dataclass

NEAR_CEILING_CELSIUS = 2.0
HELD_BY_HEAT_SHARE = 0.05


@dataclass(frozen=True, slots=True)
class Referred:
    """A temperature at the room temperature asked for, Celsius.

    ``shifted``: whether the shift was applied; ``note``: why not, or what to mind; "" when there is nothing to say.
    """

    celsius: float
    shifted: bool
    note: str = ""


def refer_to_room(
    celsius: float,
    ambient_celsius: float | None,
    room_celsius: float,
    *,
    ceiling_celsius: float | None = None,
    held_by_heat_share: float | None = None,
) -> Referred:
    """What a temperature would have been in a room of ``room_celsius``: celsius + (room - ambient).

    At constant power a steady temperature stands above the room by power times thermal resistance, which does not
    depend on the room (JEDEC JESD51-1, definition of thermal resistance; superposition for several sources). That fails
    where the part was held at its ceiling by temperature: there the clock follows the room and the temperature does
    not, so the value is left as it was and said. A shift past the ceiling stops at it. `surefoot.thermal.heat` moves a
    settled end by the same rule, with an interval for leakage and fans; here the mean of a run is moved, mostly by a
    fraction of a degree, and its interval is the spread between runs, which has those in it: so there are two.
    ``ambient_celsius`` None: not known, nothing is shifted.
    """
    if ambient_celsius is None or math.isnan(ambient_celsius):
        return Referred(celsius, False, "the room temperature of the run is not known")
    held = held_by_heat_share is not None and held_by_heat_share > HELD_BY_HEAT_SHARE
    at_ceiling = ceiling_celsius is not None and celsius >= ceiling_celsius - NEAR_CEILING_CELSIUS
    if held or at_ceiling:
        return Referred(celsius, False, "held at its ceiling: the clock follows the room, the temperature does not")
    moved = celsius + room_celsius - ambient_celsius
    if ceiling_celsius is not None and moved > ceiling_celsius:
        return Referred(ceiling_celsius, True, "would reach its ceiling in that room and lose clock")
    return Referred(moved, True)
