"""What documented interfaces stood at before the first change of this boot: written down then, believed ever after."""

from __future__ import annotations

from surefoot.guide.machine import Machine
from surefoot.journal import Journal
from surefoot.rig.boot import same_boot
from surefoot.rig.hands.found import found_by
from surefoot.rig.protocols import Hands
from surefoot.units import Unit


def found_before(journal: Journal, unit: Unit, boot_id: str) -> dict[str, float]:
    """The values found first under this boot, by knob. What another boot left tells nothing: a restart undoes it."""
    first = _first_found(journal, unit, boot_id)
    return {knob: first[door] for knob, door in unit.hands.doors.items() if door in first}


def write_found(journal: Journal, unit: Unit, machine: Machine, hands: Hands) -> None:
    """Write down what the hands found, where the journal does not have it for this boot. Before anything is changed."""
    found = found_by(hands)
    if not found:
        return
    boot_id = machine.boot_id()
    known = _first_found(journal, unit, boot_id)
    doors = unit.hands.doors
    new = {doors[knob]: value for knob, value in found.items() if knob in doors and doors[knob] not in known}
    if new:
        journal.note_found(unit.name, new, boot_id=boot_id, at=machine.now())


def _first_found(journal: Journal, unit: Unit, boot_id: str) -> dict[str, float]:
    first: dict[str, float] = {}
    for entry in journal.found_values(unit.name):
        if same_boot(entry.boot_id, boot_id):
            first = {**entry.values, **first}
    return first
