"""Where in a chart a label has room: of some places, the one that the fewest lines and marks run through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

SAMPLES = 400


@dataclass(frozen=True, slots=True)
class Place:
    """A box, in shares of the chart's width (from the left) and height (from below), and how a label gets there."""

    left: float
    right: float
    bottom: float
    top: float
    align: str = "left"
    baseline: str = "bottom"


def roomiest(places: Sequence[Place], across: ArrayLike, up: ArrayLike, around: tuple[float, float] = (0, 0)) -> Place:
    """The place that a line through these points, (n,) shares each, touches least; the first of those alike.

    ``around``: half the width and height of a mark at each point, shares of the chart; (0, 0) where there are none.
    """
    at_x, at_y = np.asarray(across, dtype=np.float64), np.asarray(up, dtype=np.float64)
    along = np.linspace(0, max(at_x.size - 1, 0), SAMPLES)
    number = np.arange(at_x.size)
    line_x, line_y = np.interp(along, number, at_x), np.interp(along, number, at_y)

    def met(place: Place) -> float:
        line = (place.left <= line_x) & (line_x <= place.right) & (place.bottom <= line_y) & (line_y <= place.top)
        beside = (at_x > place.left - around[0]) & (at_x < place.right + around[0])
        level = (at_y > place.bottom - around[1]) & (at_y < place.top + around[1])
        return float(line.sum()) + (SAMPLES * float((beside & level).sum()) if any(around) else 0.0)

    return min(places, key=met)
