"""What is said over the line between the bench and an agent: one JSON object a line, versioned.

The agent's first line is its hello. Then the bench asks (``{"id": 3, "do": "sample", ...}``), the agent answers
(``{"id": 3, "ok": ...}`` or ``{"id": 3, "error": {...}}``), and each says that it is alive once a second
(``{"beat": 17}``). Nothing is sent in any other way, and no port is opened.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Final

from surefoot.errors import BadInput, MachineError, SurefootError
from surefoot.rig.elevated.messages import of_line as of_line

VERSION: Final = 2
HELLO: Final = "surefoot-agent"
BEAT_SECONDS: Final = 1.0
SILENT_SECONDS: Final = 8.0
"""After so long without a word the other end is taken for lost: a hang is known within 10 s."""
ORPHANED_SECONDS: Final = 15.0
"""An agent that hears nothing for so long ends, and the unit goes back to stock."""
LONGEST_LINE: Final = 4_000_000

_KINDS: Final[Mapping[str, type[SurefootError]]] = {"bad-input": BadInput, "machine": MachineError}


def as_line(message: Mapping[str, Any]) -> bytes:
    """A message as its line."""
    return json.dumps(message, ensure_ascii=True, separators=(",", ":")).encode("ascii") + b"\n"


def error_out(error: SurefootError) -> dict[str, Any]:
    """An error as it goes over the line."""
    kind = "bad-input" if isinstance(error, BadInput) else "machine"
    return {"kind": kind, "what": error.what, "where": error.where, "remedy": error.remedy}


def error_in(told: Any) -> SurefootError:
    """The error that was told, ready to be raised."""
    if not isinstance(told, Mapping):
        return MachineError("the agent on the unit failed and did not say how.")
    made = _KINDS.get(str(told.get("kind")), MachineError)
    where, remedy = (str(told[key]) if told.get(key) else None for key in ("where", "remedy"))
    return made(plain(told.get("what")), where=where, remedy=remedy)


def plain(text: Any, most: int = 2000) -> str:
    """Text from the other end without anything that a terminal would obey."""
    return "".join(one if one.isprintable() or one == "\n" else " " for one in str(text))[:most]


def numbers(told: Any) -> dict[str, float]:
    """A table of finite numbers, by name. Raises MachineError for anything else."""
    if not isinstance(told, Mapping):
        raise MachineError("the agent on the unit answered something that is no table of numbers.")
    return {
        str(name): float(value)
        for name, value in told.items()
        if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    }
