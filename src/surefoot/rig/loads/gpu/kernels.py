"""What a kernel of the graphics load is. One to a file; each verifies every word of its result."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from surefoot.rig.loads.gpu.device import Mismatch
from surefoot.rig.loads.kernels.base import WrongResult

Spoil = Callable[[Any], None]
"""Gets the buffer of a result before it is checked; tests flip a bit in it here."""


class GpuKernel(Protocol):
    """One kind of work. ``work_unit``: of the work verified; ``nominal``: of it that counts as one unit of progress.

    The nominal amounts are fixed, so that progress means the same on every day and every device; each is about what a
    card of the middle class does in a tenth of a second (common practice, no source), so that none drowns the others.
    """

    name: str
    work_unit: str
    nominal: float

    def prove(self) -> None:
        """Set up, and prove on the processor what later results are compared with. Raises WrongResult."""
        ...

    def run(self, seed: int, passes: int, spoil: Spoil | None) -> float:
        """So many passes and their check; returns the work verified. Raises WrongResult."""
        ...


def wrong(kernel: str, what: str, mismatch: Mismatch, words: int) -> WrongResult:
    """The failure that a comparison found."""
    return WrongResult(
        kernel,
        f"{what}: {mismatch.count} of {words} words are wrong, the first at {mismatch.place}",
        f"{mismatch.expected:08x}",
        f"{mismatch.found:08x}",
    )
