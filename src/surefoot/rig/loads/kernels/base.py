"""What a kernel of work is, and what it raises when its own check catches a wrong result."""

from __future__ import annotations

from typing import Any, Protocol

from numpy.typing import NDArray

Seed = tuple[int, ...]
"""Names one unit of work: the same seed gives the same data, so that a wrong unit can be done again."""


class WrongResult(Exception):
    """A self-check caught a wrong result.

    ``kernel``: the kernel of work; ``what``: what was wrong, in words; ``expected`` and ``found``: digests of the two.
    """

    def __init__(self, kernel: str, what: str, expected: str, found: str) -> None:
        super().__init__(f"{kernel}: {what}")
        self.kernel = kernel
        self.what = what
        self.expected = expected
        self.found = found


class Tamper(Protocol):
    """Gets a result after it was computed and before it is checked; tests flip a bit in it here."""

    def __call__(self, result: bytearray | NDArray[Any]) -> None:
        """Change the result in place, or leave it alone."""
        ...


def leave_alone(result: bytearray | NDArray[Any]) -> None:
    """The tamper of real work: none."""


class Kernel(Protocol):
    """One kind of work that checks itself.

    ``work_unit``: the unit of the work verified, for a rate; ``nominal``: the work of a long unit, which counts as one
    step of progress, so that progress goes on about as fast in every kernel and in short units as in long ones.
    """

    name: str
    work_unit: str
    nominal: float

    def run(self, seed: Seed, long: bool, tamper: Tamper = ..., check: bool = True) -> float:
        """Do and check one unit of work; returns the work verified, in ``work_unit``.

        ``long``: some ten milliseconds on one core, else about one. ``check`` False: for measuring what checking costs.
        Raises WrongResult.
        """
        ...
