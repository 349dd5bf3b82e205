"""What ordinary use says of a knob: a load of its own, whose hazard is some unknown share of the bench load's.

What people do with a machine is milder than a load made to break it, or harsher; how much so is not known, and is the
same for all stretches of use of a unit. At depth x use fails at a rate f h(x), h the bench load's hazard, f a gamma
factor of mean `USE_SHARE` and variance `USE_SHARE` ** 2 * `USE_SPREAD`, one for all stretches (shared frailty: Vaupel,
Manton and Stallard 1979; Hougaard, Analysis of Multivariate Survival Data, ch. 7). With D the sum over stretches of
h(x) t, the chance to survive them all is (1 + share spread D) ** (-1 / spread): long survival in use is discounted more
and more, for it may be that the use is mild and not that the setting is good. A failure raises what is believed of f,
and has a density f h(x): it counts in full.

Both keep the order that a claim needs: of two histories, longer survival, and survival instead of a failure, favour
the smaller hazard more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Evidence
from surefoot.search.likelihood import SHORTEST_HOURS
from surefoot.search.prior import STRAY_FAILURES, Grid

Floats = NDArray[np.float64]

USE_SHARE = 0.6
"""Hazard of an hour of use under load, on average, as a share of the bench load's."""
USE_SPREAD = 0.5
"""Variance of that share relative to its square. Both set by rehearsal with use at a tenth of the bench's hazard: at
1 and 0.5 a quarter of the trials' claims on the reference were false of the bench load there after two months."""


def apart(evidence: Sequence[Evidence]) -> tuple[list[Evidence], list[Evidence]]:
    """The evidence of the bench and that of use."""
    return [piece for piece in evidence if not piece.use], [piece for piece in evidence if piece.use]


def log_use(grid: Grid, pieces: Sequence[Evidence]) -> Floats | float:
    """Log likelihood of all stretches of use together over the grid, shape (n, k); 0 without any."""
    return log_use_at(grid.hazard, pieces)


def log_use_at(hazard: Callable[[float], Floats], pieces: Sequence[Evidence]) -> Floats | float:
    """The same where the bench load's hazard per hour at a depth is told by a function, in the shape that it gives.

    How the same hours were cut into stretches does not matter to it.
    """
    if not pieces:
        return 0.0
    hours: dict[float, float] = {}
    found_late: list[Evidence] = []
    failures: list[Evidence] = []
    for piece in pieces:
        if piece.failed and not (piece.timed and piece.minutes / 60.0 >= SHORTEST_HOURS):
            found_late.append(piece)
            continue
        hours[piece.depth] = hours.get(piece.depth, 0.0) + piece.minutes / 60.0
        if piece.failed:
            failures.append(piece)
    dose = np.zeros_like(hazard(pieces[0].depth))
    for depth, held in hours.items():
        dose += hazard(depth) * held
    shape, scale = 1.0 / USE_SPREAD, USE_SHARE * USE_SPREAD
    found = np.asarray(-shape * np.log1p(scale * dose))
    keep = 1.0 - STRAY_FAILURES
    for piece in failures:
        rate = shape * scale * hazard(piece.depth) / (1.0 + scale * dose)
        found += np.log(keep * rate + STRAY_FAILURES / (piece.minutes / 60.0))
        shape += 1.0
    for piece in found_late:
        lasted = max(piece.minutes / 60.0, SHORTEST_HOURS)
        more = scale * hazard(piece.depth) * lasted / (1.0 + scale * dose)
        found += np.log(keep * -np.expm1(-shape * np.log1p(more)) + STRAY_FAILURES)
        shape += 1.0
    return np.asarray(found)
