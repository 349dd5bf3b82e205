"""Percentiles by a stated rule."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surefoot.errors import BadInput

Rule = Literal["linear", "n+1"]

RULE_SAYS = {
    "linear": "linear interpolation between order statistics, rank 1 + (n - 1)p",
    "n+1": "rank (n + 1)p, interpolated, no further than the least and the greatest",
}

_METHOD: dict[Rule, Literal["linear", "weibull"]] = {"linear": "linear", "n+1": "weibull"}


def percentile(values: ArrayLike, percent: float, rule: Rule = "linear") -> float:
    """The value below which ``percent`` % of the finite ``values`` lie; NaN when there is none.

    ``linear`` (used by `summarise`): rank 1 + (n - 1)p; ``n+1``: rank (n + 1)p. Both interpolate between neighbours.
    Source: NIST/SEMATECH e-Handbook 7.2.6.2. Raises BadInput for a percentage outside 0 to 100 or an unknown rule.
    """
    if not 0.0 <= percent <= 100.0:
        raise BadInput(f"a percentile lies between 0 and 100, got {percent!r}.")
    if rule not in RULE_SAYS:
        raise BadInput(f"{rule!r} is no percentile rule.", remedy="Rules: " + ", ".join(RULE_SAYS) + ".")
    data = np.asarray(values, dtype=np.float64).ravel()
    data = data[np.isfinite(data)]
    return float(np.percentile(data, percent, method=_METHOD[rule])) if data.size else math.nan
