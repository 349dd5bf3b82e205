"""What this machine documents as settable, as lines for a card."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from surefoot.errors import MachineError
from surefoot.rig.doors import Door, doors
from surefoot.rig.doors.files import NO_RIGHTS

LIMITS: Final = {"mV": 100.0, "MHz": 150.0, "W": 30.0}
"""What the offered line gives as limit where the interface takes more: a beginning that is seldom reached, by unit of
measure (our own choice). The user lowers or raises it; the search goes step by step whatever it is."""


@dataclass(frozen=True, slots=True)
class Offer:
    """One door. ``card``: lines in the card's own format; ``why_not``: "" when it can be set now; ``by_rights``:
    whether only the administrator's rights are missing."""

    door: str
    says: str
    unit: str
    now: float | None
    why_not: str
    card: str
    by_rights: bool = False


def offers(root: Path | None = None) -> list[Offer]:
    """Every door of this machine. ``root``: of the file tree, for tests."""
    found = []
    for one in doors(root):
        try:
            why_not = one.why_not()
            by_rights = why_not == NO_RIGHTS
            found.append(Offer(one.name, one.says, one.unit, one.read(), why_not, _lines(one), by_rights))
        except MachineError as error:
            found.append(Offer(one.name, one.says, one.unit, None, error.message(), ""))
    return found


def _lines(one: Door) -> str:
    name = one.name.replace(":", "-")
    bounds = one.range()
    stock = one.stock() if one.stock() is not None else one.read()
    assert stock is not None
    room = stock - bounds.low if one.toward == "down" else bounds.high - stock
    limit = max(bounds.step, min(room, LIMITS.get(one.unit, room)))
    return (
        f'[[knobs]]\nname = "{name}"\ndomain = "{one.domain}"\nunit = "{one.unit}"\ntoward = "{one.toward}"\n'
        f"step = {bounds.step:g}\nlimit = {limit:g}"
    )


def card_lines(found: Iterable[Offer], means: str = "") -> str:
    """What can be set now, as one piece of a card; with ``means``, by which a helper gets the administrator's rights,
    also what only those open. Pure."""
    there = [one for one in found if one.card and (not one.why_not or (means and one.by_rights))]
    if not there:
        return ""
    given = "\n".join(f'"{one.door.replace(":", "-")}" = "{one.door}"' for one in there)
    knobs = "\n\n".join(one.card for one in there)
    elevate = f'elevate = "{means}"\n' if any(one.by_rights for one in there) else ""
    return f'[hands]\nkind = "documented"\n{elevate}\n[hands.doors]\n{given}\n\n{knobs}\n'
