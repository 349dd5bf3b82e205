"""Hands: whoever applies a setting. One kind to a file; a new one is a line in `KINDS`."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from surefoot.errors import BadInput
from surefoot.rig.elevated.pipe import rights_already
from surefoot.rig.hands.ask import AskHands
from surefoot.rig.hands.command import CommandHands
from surefoot.rig.hands.documented import DocumentedHands
from surefoot.rig.hands.elevated import ElevatedHands
from surefoot.rig.protocols import Hands
from surefoot.units import Unit

Prompt = Callable[[str, str], str]
"""Asks a question, given with the answer that an empty reply means."""

Found = Mapping[str, float]
"""Absolute values that were there before the first change, by knob; only documented hands know of such."""


def _documented(unit: Unit, prompt: Prompt | None, found: Found | None) -> Hands:
    if unit.hands.elevate and not rights_already():
        return ElevatedHands(unit, prompt, found=found)
    return DocumentedHands(unit, prompt, found=found)


KINDS: dict[str, Callable[[Unit, Prompt | None, Found | None], Hands]] = {
    "ask": lambda unit, prompt, _found: AskHands(unit, prompt),
    "command": lambda unit, prompt, _found: CommandHands(unit, prompt),
    "documented": _documented,
}


def make_hands(unit: Unit, *, prompt: Prompt | None = None, found: Found | None = None) -> Hands:
    """The hands that the unit's card names; ``found`` is stock where nothing documents it.

    Raises BadInput for an unknown kind, or `ask` with nobody to ask.
    """
    kind = unit.hands.kind
    if kind not in KINDS:
        raise BadInput(
            f"hands of kind {kind!r} are not known.",
            where=f"unit {unit.name!r}",
            remedy=f"Allowed: {', '.join(KINDS)}.",
        )
    return KINDS[kind](unit, prompt, found)
