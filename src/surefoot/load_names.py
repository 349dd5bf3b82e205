"""Names of built-in loads that more than one room must know: those of all cores, of both parts, and of chosen cores."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

CPU: Final = "cpu"
CPU_GPU: Final = "cpu-gpu"
ONE_CORE_PREFIX: Final = "cpu-core-"


def core_load(processors: Iterable[int]) -> str:
    """Name of the load that works these processors alone: ``cpu-core-2+3``."""
    return ONE_CORE_PREFIX + "+".join(map(str, processors))


def chosen_processors(name: str) -> tuple[int, ...]:
    """The processors that a load's name names: ``cpu-core-2+3`` gives 2 and 3; () for another name."""
    found = re.fullmatch(rf"{ONE_CORE_PREFIX}(\d+(?:\+\d+)*)", name.strip().lower())
    return tuple(int(number) for number in found[1].split("+")) if found else ()
