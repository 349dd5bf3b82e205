"""Hands of kind `documented`: settings made through interfaces that the kernel or the maker documents."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from pathlib import Path

from surefoot.errors import BadInput, MachineError
from surefoot.rig.doors import Door, door
from surefoot.rig.hands.guard import guard
from surefoot.units import Knob, Setting, Unit

Find = Callable[[str], Door]


class DocumentedHands:
    """Each knob through the door that the card gives it (``[hands.doors]``), and no other knob at all.

    Every value is bounded three times: by the card, by the interface's own range, and by the rules of the search
    before it gets here. ``found``: absolute values that were there before the first change, by knob, as the journal
    keeps them; where there are none, what is read now is taken for stock. ``find``: the door of a name, for tests.
    Raises BadInput for a knob without a door, a door that is not here, or one of another unit of measure or side.
    """

    kind = "documented"
    can_read_back = True

    def __init__(
        self,
        unit: Unit,
        prompt: Callable[[str, str], str] | None = None,
        *,
        found: Mapping[str, float] | None = None,
        find: Find = door,
    ) -> None:
        self._doors = {knob.name: _door_of(unit, knob, find) for knob in unit.knobs}
        self._stock = {name: _stock(name, one, found or {}) for name, one in self._doors.items()}

    @property
    def found(self) -> Mapping[str, float]:
        """The absolute value that stock is, by knob: to be written to the journal before the first change."""
        return dict(self._stock)

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Set every knob, stock before depth so that no two are deep that were not meant together; then read back.

        Raises BadInput past a limit, MachineError when a door is closed or did not take its value: then every knob
        was put back to stock as far as that could be done.
        """
        guard(unit, setting)
        wanted = {name: self._absolute(unit.knob(name), setting.value(name)) for name in self._doors}
        if not setting.is_stock:
            for name, one in self._doors.items():
                if setting.value(name) and (why := one.why_not()):
                    raise MachineError(f"{one.says}: {why}.", where=f"knob {name!r}", remedy="Nothing was applied.")
        changed: list[str] = []
        try:
            for name in sorted(self._doors, key=lambda name: setting.value(name) != 0):
                one = self._doors[name]
                # What is right already is not written: a locked door at stock is no trouble.
                if abs(one.read() - wanted[name]) > one.range().step / 2:
                    changed.append(name)
                    one.write(wanted[name])
        except MachineError:
            for name in changed:
                with contextlib.suppress(MachineError):
                    self._doors[name].write(self._stock[name])
            raise
        return self.read_back(unit)

    def read_back(self, unit: Unit) -> Setting | None:
        """The offsets that stand now."""
        values = {}
        for name, one in self._doors.items():
            offset = one.read() - self._stock[name]
            # Less than half a step off stock is how the interface counts, not a setting.
            values[name] = offset if abs(offset) > one.range().step / 2 else 0.0
        return Setting(values=values)

    def _absolute(self, knob: Knob, offset: float) -> float:
        one = self._doors[knob.name]
        stock = self._stock[knob.name]
        value = stock + offset
        bounds = one.range()
        if offset and not min(bounds.low, stock) - 1e-9 <= value <= max(bounds.high, stock) + 1e-9:
            raise BadInput(
                f"{offset:+g} {knob.unit} is {value:g} {knob.unit}; the interface takes {bounds.low:g} to "
                f"{bounds.high:g} {knob.unit}.",
                where=f"knob {knob.name!r}",
                remedy="Nothing was applied.",
            )
        return value


def _door_of(unit: Unit, knob: Knob, find: Find) -> Door:
    where = f"unit {unit.name!r}, hands"
    name = unit.hands.doors.get(knob.name)
    if name is None:
        raise BadInput(
            f"knob {knob.name!r} has no door, so nothing is set by it.",
            where=where,
            remedy="`surefoot knobs` lists what this machine documents, as lines for the card.",
        )
    one = find(name)
    if one.unit != knob.unit or one.toward != knob.toward:
        raise BadInput(
            f"{name} counts in {one.unit} toward {one.toward}; knob {knob.name!r} in {knob.unit} toward {knob.toward}.",
            where=where,
        )
    return one


def _stock(name: str, one: Door, found: Mapping[str, float]) -> float:
    documented = one.stock()
    if documented is not None:
        return documented
    return found[name] if name in found else one.read()


def tree_finder(root: Path) -> Find:
    """Doors of a made-up file tree, for tests and rehearsal."""
    return lambda name: door(name, root)
