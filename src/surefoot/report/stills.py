"""The charts as plain SVG, for a page that is read without JavaScript: small, and without what only pointing needs."""

from __future__ import annotations

import re

from surefoot.report.picture import STILL, Picture

_PATHS = re.compile(r' (?:d|transform)="[^"]*"')
_LONG = re.compile(r"-?\d+\.\d{2,}(?:e-?\d+)?")
_SPOKEN = re.compile(r' (?:aria-[a-z]+|role)="[^"]*"')
_NAMES = re.compile(r'(id="|url\(#)((?:clip|gradient)[^")]*)')
# What the drawing library writes for pointing and for its own style sheets, and what SVG has by default.
_NEEDLESS = re.compile(
    r' (?:pointer-events="[^"]*"|class="[^"]*"|opacity="1"|[xy]2="0"|transform="translate\(0,0\)")(?=[ />])'
)
_UNSEEN = re.compile(r'<path(?=[^>]* (?:display="none"|d=""|d="M0,0h0v0h0Z")[ />])[^>]*/>')
_FAMILY = re.compile(r' font-family="[^"]*"')
_LINES = re.compile(r' d="(M[-\d.,ML]*Z?)"')
_POINT = re.compile(r"([ML])(-?[\d.]+),(-?[\d.]+)")


def still(picture: Picture) -> str:
    """A chart as an SVG text for the page, in the page's colours. Its words are beside it, so it is silent itself."""
    import vl_convert

    made = trimmed(vl_convert.vegalite_to_svg(picture.spec(STILL)))
    # Several pictures share the page: what is named in one must not be found by another. The numbers are given anew,
    # because the library counts on from picture to picture.
    names: dict[str, str] = {}
    made = _NAMES.sub(lambda found: found[1] + names.setdefault(found[2], f"{picture.key}-part-{len(names) + 1}"), made)
    return made.replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1)


def trimmed(svg: str) -> str:
    """A drawing in fewer letters that looks the same: tenths of a pixel, nothing unseen, lines by steps."""
    svg = _SPOKEN.sub("", svg)
    svg = _PATHS.sub(lambda found: _LONG.sub(_short, found[0]), svg)
    svg = _UNSEEN.sub("", _NEEDLESS.sub("", svg))
    families = set(_FAMILY.findall(svg))
    if len(families) == 1:
        svg = _FAMILY.sub("", svg).replace("<svg", f"<svg{families.pop()}", 1)
    return _LINES.sub(_stepwise, svg)


def _stepwise(path: re.Match[str]) -> str:
    """A line with each point told from the one before; the sums are of tenths, so that nothing is lost on the way."""
    text = path[1]
    points = _POINT.findall(text)
    if len(points) < 8 or "".join(f"{letter}{x},{y}" for letter, x, y in points) != text.removesuffix("Z"):
        return path[0]
    made, at = [], (0, 0)
    for place, (letter, x, y) in enumerate(points):
        here = round(10 * float(x)), round(10 * float(y))
        by = (here[0] - at[0], here[1] - at[1])
        sign = letter.lower() if place == 0 or letter == "M" or points[place - 1][0] == "M" else ""
        first, second = _tenths(by[0]), _tenths(by[1])
        # A line goes on without its letter, and a minus sign parts numbers by itself.
        made.append(
            f"{sign or ('' if first.startswith('-') else ' ')}{first}{'' if second.startswith('-') else ','}{second}"
        )
        at = here
    return f' d="{"".join(made)}{"z" if text.endswith("Z") else ""}"'


def _tenths(value: int) -> str:
    whole, part = divmod(abs(value), 10)
    text = f"{whole or '' if part else whole}{f'.{part}' if part else ''}"
    return f"-{text}" if value < 0 else text


def _short(number: re.Match[str]) -> str:
    text = f"{float(number[0]):.1f}"
    return text.removesuffix(".0").replace("-0", "0") if text in ("-0.0", "0.0") else text.removesuffix(".0")
