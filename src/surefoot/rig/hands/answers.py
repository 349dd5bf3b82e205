"""What a user typed at a question about a knob, read as a value or sent back with the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from surefoot.errors import BadInput
from surefoot.units import Knob

AS_ASKED: Final = frozenset({"y", "yes"})
AT_STOCK: Final = frozenset({"stock", "0"})


@dataclass(frozen=True, slots=True)
class Again:
    """Not an answer; ``why`` is said before the question is put once more."""

    why: str


def value_read(knob: Knob, asked: float, text: str) -> float | Again:
    """The signed value that was typed for a knob. ``yes`` means as asked; a value needs the sign that the knob has."""
    answer = text.strip().casefold()
    if answer in AS_ASKED:
        return asked
    if answer in AT_STOCK:
        return 0.0
    plain = answer.removesuffix(knob.unit.casefold()).strip().replace("\u2212", "-").replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        return Again(f"{text!r} is not a value in {knob.unit}.")
    try:
        depth = knob.depth_of(value)
    except BadInput:
        # Most often one that was typed without its sign.
        return Again(f"{text!r} is on the other side of stock than {asked:+g} {knob.unit}: type the sign too.")
    if depth > knob.limit:
        return Again(f"{text!r} is past the limit of {knob.value_at(knob.limit):+g} {knob.unit}: look again.")
    return value


def is_stock(units: frozenset[str], text: str) -> bool:
    """Whether an answer says that everything is at stock: ``yes``, ``stock``, or 0 in a knob's unit of measure."""
    answer = text.strip().casefold()
    for unit in units:
        answer = answer.removesuffix(unit.casefold()).strip()
    return answer in AS_ASKED | AT_STOCK or answer in ("+0", "-0", "0.0")
