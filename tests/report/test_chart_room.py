"""Where a label has room in a chart."""

from __future__ import annotations

import numpy as np

from surefoot.report.charts.room import Place, roomiest

LEFT, RIGHT = Place(0.0, 0.3, 0.5, 0.6), Place(0.7, 1.0, 0.5, 0.6)


def test_a_line_through_one_place_leaves_the_other() -> None:
    assert roomiest([LEFT, RIGHT], [0, 0.5, 1], [0.55, 0.9, 0.9]) is RIGHT
    assert roomiest([LEFT, RIGHT], [0, 0.5, 1], [0.9, 0.9, 0.55]) is LEFT


def test_between_two_points_the_line_counts_too() -> None:
    assert roomiest([LEFT, RIGHT], [0.0, 0.3, 1.0], [0.2, 0.9, 0.9]) is RIGHT, "it passes 0.55 on its way"


def test_a_mark_counts_as_far_as_it_reaches() -> None:
    points = np.array([[0.15, 0.62], [0.85, 0.9]])
    assert roomiest([LEFT, RIGHT], points[:, 0], points[:, 1]) is LEFT
    assert roomiest([LEFT, RIGHT], points[:, 0], points[:, 1], around=(0.03, 0.03)) is RIGHT


def test_of_places_alike_it_is_the_first() -> None:
    assert roomiest([RIGHT, LEFT], [0, 1], [0.1, 0.1]) is RIGHT
    assert roomiest([LEFT, RIGHT], [0.5], [0.1]) is LEFT
