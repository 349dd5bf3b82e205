"""The charts as plain SVG, for a page that is read without JavaScript: small, and without what only pointing needs."""

from __future__ import annotations

import re

from surefoot.report.picture import STILL, Picture

_PATHS = re.compile(r' (?:d|transform)="[^"]*"')
_LONG = re.compile(r"-?\d+\.\d{2,}(?:e-?\d+)?")
_SPOKEN = re.compile(r' (?:aria-[a-z]+|role)="[^"]*"')
_NAMES = re.compile(r'(id="|url\(#)((?:clip|gradient)[^")]*)')


def still(picture: Picture) -> str:
    """A chart as an SVG text for the page, in the page's colours. Its words are beside it, so it is silent itself."""
    import vl_convert

    made: str = vl_convert.vegalite_to_svg(picture.spec(STILL))
    made = _SPOKEN.sub("", made)
    made = _PATHS.sub(lambda found: _LONG.sub(_short, found[0]), made)
    # Several pictures share the page: what is named in one must not be found by another. The numbers are given anew,
    # because the library counts on from picture to picture.
    names: dict[str, str] = {}
    made = _NAMES.sub(lambda found: found[1] + names.setdefault(found[2], f"{picture.key}-part-{len(names) + 1}"), made)
    return made.replace("<svg ", '<svg aria-hidden="true" focusable="false" ', 1)


def _short(number: re.Match[str]) -> str:
    text = f"{float(number[0]):.1f}"
    return text.removesuffix(".0").replace("-0", "0") if text in ("-0.0", "0.0") else text.removesuffix(".0")
