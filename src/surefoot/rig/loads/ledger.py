"""What a worker keeps of its work and tells the parent: units verified, progress, a wrong result. Light: no numpy."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from surefoot.rig.loads.child import WRONG_EXIT, say

if TYPE_CHECKING:
    from surefoot.rig.loads.kernels.base import WrongResult


class Ledger:
    """``work``: phase to kernel to [work verified, seconds, units]; ``units``: verified so far."""

    def __init__(self) -> None:
        self.work: dict[str, dict[str, list[float]]] = {}
        self.units = 0
        self.progress = 0.0

    def beat(self, **now: float) -> None:
        """Tell the parent that this worker lives, what it has verified, and what else it says of this moment."""
        message: dict[str, Any] = {"beat": self.units, "work": self.work, "progress": self.progress}
        say({**message, "now": now} if now else message)

    def count(self, phase: str, kernel: str, done: float, nominal: float, seconds: float) -> None:
        """Enter one verified unit: work done, the nominal work that makes one unit of progress, seconds spent."""
        self.units += 1
        self.progress += done / nominal
        self.tally(phase, kernel, done, seconds)

    def tally(self, phase: str, kernel: str, done: float, seconds: float) -> None:
        """Enter work that is neither a unit nor progress of its own: what was done beside another."""
        tally = self.work.setdefault(phase, {}).setdefault(kernel, [0.0, 0.0, 0.0])
        for place, amount in enumerate((done, seconds, 1)):
            tally[place] += amount

    def wrong(
        self, error: WrongResult, phase: str, seed: Any, repeats: bool | None, at_seconds: float | None = None
    ) -> int:
        """Tell the parent of a wrong result, with all that is needed to do it again. Returns the exit code.

        ``at_seconds``: since the load began, when the unit was begun.
        """
        self.beat()
        facts = {"kernel": error.kernel, "what": error.what, "expected": error.expected, "found": error.found}
        facts["phase"] = phase
        say(
            {"wrong": {**facts, "unit_of_work": self.units, "seed": seed, "repeats": repeats, "at_seconds": at_seconds}}
        )
        return WRONG_EXIT


def comes_wrong_again(again: Callable[[], object]) -> bool:
    """Do a unit again at once: one that comes right now was a passing fault, one that stays wrong may be a broken
    library or a broken unit."""
    from surefoot.rig.loads.kernels.base import WrongResult

    try:
        again()
    except WrongResult:
        return True
    return False
