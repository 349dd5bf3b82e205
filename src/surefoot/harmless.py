"""Texts from elsewhere made harmless at the door through which they leave: a terminal, a table, a page, JSON.

Names, notes and columns come from cards, bundles and logs of others. Inside, they stay as they are; what a terminal, a
spreadsheet or a reader's eye would obey is taken from them once, where they go out.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

STANDS_IN: Final = "?"
_KEPT: Final = frozenset("\n\u00a0\u202f\u2007\u2009\u200a")
# What makes a spreadsheet take a cell for a formula. Source: OWASP, "CSV Injection", with the full-width forms.
_FORMULA: Final = tuple("=+-@\t\r\uff1d\uff0b\uff0d\uff20")


def for_eyes(text: str) -> str:
    """A text without anything but what is seen: control characters (terminal escapes), marks that turn text round or
    take no place, halves of characters and unassigned ones each become a question mark. Lines and blanks stay."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(one if one.isprintable() or one in _KEPT else " " if one == "\t" else STANDS_IN for one in text)


def for_cell(value: Any) -> Any:
    """A value for a CSV cell: a text that a spreadsheet would reckon as a formula gets an apostrophe before it."""
    if not isinstance(value, str):
        return value
    seen = for_eyes(value)
    return f"'{seen}" if value.lstrip(" \u00a0").startswith(_FORMULA) and not _number(value) else seen


def for_json(text: str) -> str:
    """JSON that holds nothing a terminal obeys: the same values, what is not seen written as its number."""
    if text.isascii() and text.replace("\n", "").isprintable():
        return text
    return "".join(one if one.isprintable() or one == "\n" else _written(ord(one)) for one in text)


def all_for_eyes(value: Any) -> Any:
    """`for_eyes` on every text within lists and tables, keys too."""
    if isinstance(value, str):
        return for_eyes(value)
    if isinstance(value, Mapping):
        return {all_for_eyes(key): all_for_eyes(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [all_for_eyes(one) for one in value]
    return value


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _written(number: int) -> str:
    """JSON's own way, beyond the first plane as two halves."""
    if number < 0x10000:
        return f"\\u{number:04x}"
    number -= 0x10000
    return f"\\u{0xD800 + (number >> 10):04x}\\u{0xDC00 + (number & 0x3FF):04x}"
