"""Correction for many comparisons made at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surefoot.errors import BadInput


@dataclass(frozen=True, slots=True)
class Adjusted:
    """A p-value after Holm's correction: ``p_value`` (at most 1), and the ``factor`` the raw one was multiplied by.

    The factor may be fractional where the step-down rule carried a neighbour's value over.
    """

    p_value: float
    factor: float


def holm(p_values: Sequence[float]) -> tuple[Adjusted, ...]:
    """Holm's step-down correction (Holm 1979, Scandinavian Journal of Statistics 6), in the order given.

    Keeps the chance of even one false finding in the family at the level chosen, whatever the dependence. A NaN is a
    comparison that could not be judged: it stays NaN and does not count. Raises BadInput for a p outside 0 to 1.
    """
    for p in p_values:
        if not math.isnan(p) and not 0 <= p <= 1:
            raise BadInput(f"{p!r} is not a p-value.")
    judged = sorted((i for i, p in enumerate(p_values) if not math.isnan(p)), key=lambda i: p_values[i])
    found = [Adjusted(math.nan, 1.0)] * len(p_values)
    largest = 0.0
    for rank, index in enumerate(judged):
        p, times = p_values[index], len(judged) - rank
        largest = max(largest, p * times)
        found[index] = Adjusted(min(1.0, largest), largest / p if p > 0 else float(times))
    return tuple(found)
