"""The value of a knob as people write it: ``-95``, ``95`` of an undervolt, ``-95 mV``, ``-0,095 V``, ``stock``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from surefoot.logs.hand_words import words_of
from surefoot.logs.measures import measure
from surefoot.logs.numbers import Decimal, as_number
from surefoot.units import Knob

STOCK: Final = words_of("stock default none - – — standard serie original origine base defaut defecto fabrica")
SIGNS: Final = "+-\u2212"


@dataclass(frozen=True, slots=True)
class ValueRead:
    """``value``: signed offset in the knob's unit, None when it cannot be one; ``signed``: a sign was written;
    ``why``: what is wrong; ``meant``: what may have been meant instead."""

    value: float | None
    signed: bool = False
    why: str = ""
    meant: float | None = None


def read_value(knob: Knob, text: str, decimal: Decimal = ".") -> ValueRead:
    """A signed offset of a knob from stock. Without a sign it is a depth: nobody writes "+" before an undervolt."""
    cell = text.strip()
    if cell.lower() in STOCK:
        return ValueRead(0.0)
    number = as_number(cell, decimal)
    if number is None:
        return ValueRead(None, why=f"{text!r} is not a number in {knob.unit}")
    value = number.value
    if number.unit:
        own, written = measure(knob.unit), number.measure
        if written is None or own is None or own.family != written.family:
            return ValueRead(None, why=f"{text!r} is not in {knob.unit}")
        # Rounded, since 0.095 V is 95 mV and not 95.00000000000001.
        value = round(value * written.factor / own.factor, 9)
    signed = cell[0] in SIGNS
    if value == 0:
        return ValueRead(0.0, signed)
    if not signed:
        return ValueRead(knob.sign * value)
    if knob.sign * value < 0:
        side = "above stock, which is never set" if knob.is_voltage else "on the safe side of stock"
        return ValueRead(None, True, f"{value:+g} {knob.unit} is {side}", meant=-value)
    return ValueRead(value, True)
