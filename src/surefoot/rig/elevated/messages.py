"""What is said over the pipe to the helper: one JSON object a line, a fixed list of verbs, every value checked."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Final

HELLO: Final = "surefoot-helper"
VERSION: Final = 1
LONGEST_LINE: Final = 4096

READ: Final = "read"
"""``door``: its value now, the range that it may be set in, and what stock is."""
WRITE: Final = "write"
"""``door``, ``value``: set it, between what it was found at and what the interface takes; never the other way."""
STOCK: Final = "stock"
"""``door``: put it back to the maker's value, or to what was found first under this boot."""
STOP: Final = "stop"
"""End, and leave what stands: said at an orderly end. A pipe that ends without it means back to stock."""

_FIELDS: Final[Mapping[str, frozenset[str]]] = {
    READ: frozenset({"id", "do", "door"}),
    WRITE: frozenset({"id", "do", "door", "value"}),
    STOCK: frozenset({"id", "do", "door"}),
    STOP: frozenset({"id", "do"}),
}


def as_line(message: Mapping[str, Any]) -> bytes:
    """A message as its line."""
    return json.dumps(message, ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode("ascii") + b"\n"


def of_line(line: bytes) -> dict[str, Any] | None:
    """The message of a line; None for one that is no JSON object."""
    try:
        read = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return read if isinstance(read, dict) else None


def refused(asked: Mapping[str, Any]) -> str:
    """Why what is asked is not one of the verbs, with exactly their fields, in words; "" when it is."""
    verb = asked.get("do")
    fields = _FIELDS.get(verb) if isinstance(verb, str) else None
    if fields is None:
        return f"this helper knows {', '.join(_FIELDS)}, and nothing else"
    if set(asked) != fields:
        return f"{verb} takes {', '.join(sorted(fields))}, and nothing else"
    if isinstance(asked["id"], bool) or not isinstance(asked["id"], int):
        return "the number of the question must be whole"
    if "door" in fields and not isinstance(asked["door"], str):
        return "a door is named by its text"
    if "value" in fields and not is_number(asked["value"]):
        return "a value must be a finite number"
    return ""


def is_number(value: object) -> bool:
    """Whether it is a finite number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
