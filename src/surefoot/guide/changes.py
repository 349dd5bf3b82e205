"""What has changed since a setting was last held, in words: every reason to hold it again."""

from __future__ import annotations

from typing import Final

from surefoot.search import KnownStable
from surefoot.units import Conditions, Unit

OLD_DAYS: Final = 365
AMBIENT_CELSIUS: Final = 5.0


def versions_changed(then: Conditions, now: Conditions) -> list[str]:
    """Another firmware or driver: the edge may have moved."""
    return [
        f"the {name} was {was} and is now {is_now}: it may have moved the edge, so hold it again"
        for name, was, is_now in _differences(then, now, ("firmware", "driver"))
    ]


def changed(then: Conditions, now: Conditions) -> list[str]:
    """Everything that is known on both sides and differs. A room within 5 degrees is the same room."""
    found = versions_changed(then, now)
    for name, was, is_now in _differences(then, now, ("cooling", "supply", "operating_system")):
        found.append(f"the {name.replace('_', ' ')} was {was} and is now {is_now}")
    was_celsius, celsius = then.ambient_celsius, now.ambient_celsius
    if celsius is not None and was_celsius is not None and abs(celsius - was_celsius) > AMBIENT_CELSIUS:
        found.append(
            f"the room was at {was_celsius:g} °C and is now at {celsius:g} °C; temperature moves the edge a little"
        )
    return found


def aged(days: int) -> list[str]:
    """What a year does to a machine."""
    if days <= OLD_DAYS:
        return []
    return [f"it was last held {days} days ago; dust, paste and pads age, so hold it again"]


def never_tried(known: KnownStable) -> list[str]:
    """What the claim does not cover."""
    found = []
    if not known.transition_tried:
        found.append("no load with idle-to-full transitions was held; some settings fail only there")
    off = [name for name in known.certificates if known.setting.value(name)]
    if len(off) > 1 and known.joint is None:
        found.append(f"{' and '.join(off)} were never held together; the claim is for each alone")
    return found


def now_on(unit: Unit, ambient_celsius: float | None = None, operating_system: str | None = None) -> Conditions:
    """The conditions that the card, the room and the system tell of now."""
    return Conditions(
        ambient_celsius=ambient_celsius,
        cooling=unit.cooling,
        supply=unit.supply,
        firmware=unit.firmware,
        driver=unit.driver,
        operating_system=operating_system,
    )


def _differences(then: Conditions, now: Conditions, names: tuple[str, ...]) -> list[tuple[str, str, str]]:
    pairs = [(name, getattr(then, name), getattr(now, name)) for name in names]
    return [(name, was, is_now) for name, was, is_now in pairs if was and is_now and was != is_now]
