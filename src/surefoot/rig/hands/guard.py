"""What no pair of hands does, whoever asks."""

from __future__ import annotations

from surefoot.errors import BadInput
from surefoot.units import Knob, Setting, Unit


def guard(unit: Unit, setting: Setting) -> None:
    """Refuse a setting that must never be applied: unknown knob, above stock, or past a knob's limit.

    Raises BadInput. Called by every pair of hands before anything is touched.
    """
    for name, depth in unit.depths(setting).items():
        knob = unit.knob(name)
        if depth > knob.limit + 1e-9:
            raise BadInput(
                f"{knob.describe(depth)} is past the limit of {knob.describe(knob.limit)} on the unit's card.",
                where=f"knob {name!r}",
                remedy="Nothing was applied.",
            )


def agrees(knob: Knob, asked: float, read: float) -> bool:
    """Whether the value read back is the one asked for, as far as hardware goes.

    Clock and power offsets move in the hardware's own steps (ask for 100, get 90 or 105), so a step's difference is
    agreement and the value read back is what counts. A voltage must be within half a step. An offset of which nothing
    is left was not applied, whatever the step.
    """
    if asked and not read:
        return False
    tolerance = knob.step / 2 if knob.is_voltage else knob.step
    return abs(read - asked) <= tolerance + 1e-9


def disagreements(unit: Unit, asked: Setting, read: Setting) -> list[str]:
    """In words, every knob whose read-back value is not the one asked for; [] when all agree."""
    found = []
    for knob in unit.knobs:
        wanted, there = asked.value(knob.name), read.value(knob.name)
        if not agrees(knob, wanted, there):
            found.append(f"{knob.name} should be at {wanted:+g} {knob.unit} and reads {there:+g} {knob.unit}")
    return found
