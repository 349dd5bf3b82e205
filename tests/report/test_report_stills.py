"""The plain pictures are made small, and show what the drawing library drew."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from surefoot.report.picture import STILL
from surefoot.report.stills import trimmed
from surefoot.report.view import PageView

Points = list[tuple[float, float]]


def points_of(path: str) -> Points:
    """The corners of a path of straight lines, absolute (M, L) or by steps (m, l), after SVG 1.1, chapter 8.3."""
    found: Points = []
    x = y = 0.0
    for letter, numbers in re.findall(r"([MLmlZz])([^MLmlZz]*)", path):
        values = [float(one) for one in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]
        for first, second in zip(values[::2], values[1::2], strict=True):
            x, y = (first, second) if letter.isupper() else (x + first, y + second)
            found.append((x, y))
    return found


def lines_of(svg: str) -> list[Points]:
    """The lines and areas of many corners in a drawing."""
    every = (node.get("d", "") for node in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}path"))
    made = [points_of(path) for path in every if re.fullmatch(r"[\d\s.,MLZmlz-]+", path)]
    return [one for one in made if len(one) > 8]


@pytest.mark.parametrize("key", ["over-time-cpu-temperature", "edge-cpu-core", "hours-between-failures-gpu-core"])
def test_every_point_stays_where_it_was_drawn(view: PageView, key: str) -> None:
    import vl_convert

    picture = next(one for one in view.pictures() if one.key == key)
    drawn = vl_convert.vegalite_to_svg(picture.spec(STILL))
    small = trimmed(drawn)
    assert len(small) < 0.62 * len(drawn)
    before, after = lines_of(drawn), lines_of(small)
    assert len(before) == len(after) and sum(map(len, before)) > 100
    for one, other in zip(before, after, strict=True):
        assert [value for point in other for value in point] == pytest.approx(
            [value for point in one for value in point], abs=0.0501
        )


def test_words_colours_and_what_is_seen_stay(view: PageView) -> None:
    import vl_convert

    for picture in view.pictures()[:6]:
        drawn = vl_convert.vegalite_to_svg(picture.spec(STILL))
        before, after = ET.fromstring(drawn), ET.fromstring(trimmed(drawn))
        texts = [[node.text for node in tree.iter("{http://www.w3.org/2000/svg}text")] for tree in (before, after)]
        assert texts[0] == texts[1] and texts[0]
        inks = [{node.get(name) for node in tree.iter() for name in ("fill", "stroke")} for tree in (before, after)]
        assert inks[1] <= inks[0] and {one for one in inks[0] if one and "var(" in one} <= inks[1]
        assert after.get("font-family")


def test_what_is_said_twice_goes_and_what_differs_stays() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg"><g class="mark-rule" pointer-events="none" transform="translate(0,0)">'
        '<line x2="0" y2="40" opacity="1" stroke="red"/><line x2="10" y2="0" opacity="0.45" stroke="red"/>'
        '<path d="" fill="red"/><path d="M0,0L1,1" display="none"/>'
        '<path d="M1,2L3,4L5,6" fill="none"/></g></svg>'
    )
    assert trimmed(svg) == (
        '<svg xmlns="http://www.w3.org/2000/svg"><g><line y2="40" stroke="red"/>'
        '<line x2="10" opacity="0.45" stroke="red"/><path d="M1,2L3,4L5,6" fill="none"/></g></svg>'
    )
