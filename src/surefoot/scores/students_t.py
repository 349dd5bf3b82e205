"""Student's t and the normal: what a test asks of them.

The same functions that `scipy.stats` rests on, without it: its import takes longer than a whole comparison.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from surefoot.runs import Floats


def two_sided(t: ArrayLike, degrees: ArrayLike) -> Floats:
    """The chance that |t| is at least so large where nothing differs; ``degrees`` may be inf (the normal)."""
    from scipy import special

    beyond = -np.abs(np.asarray(t, dtype=np.float64))
    freedom = np.asarray(degrees, dtype=np.float64)
    known = np.isinf(freedom)
    return np.asarray(2 * np.where(known, special.ndtr(beyond), special.stdtr(np.where(known, 1.0, freedom), beyond)))


def upper(chance: float, degrees: float = math.inf) -> float:
    """The t that is reached with ``chance`` where nothing differs, one-sided."""
    from scipy import special

    return -float(special.ndtri(chance) if math.isinf(degrees) else special.stdtrit(degrees, chance))
