"""How the report looks: colours of both themes by name, and the shape, dash and word that go with each colour.

A chart never names a colour itself: it writes `ink("held")`, which is a CSS variable on the page (so that one drawing
serves both themes and print) and is replaced by the colour itself when a picture is written to a file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surefoot.runs import Outcome

LIGHT: Mapping[str, str] = {
    "paper": "#f7f4ee",
    "card": "#fffdf8",
    "ink": "#1b2227",
    "soft": "#545e66",
    "line": "#d8d2c4",
    "grid": "#e9e4d9",
    "accent": "#0d5c57",
    "wash": "#e4efe9",
    "held": "#1f5fa8",
    "soft-failure": "#8a5a00",
    "crash": "#b12a12",
    "no-evidence": "#667078",
    "series-1": "#43565f",
    "series-2": "#1f5fa8",
    "series-3": "#b5470e",
    "series-4": "#16764f",
    "series-5": "#7d3f98",
    "series-6": "#8a6400",
    "series-7": "#a8325f",
    "series-8": "#2b6f7d",
    "thermal": "#b5470e",
    "power": "#1f5fa8",
    "current": "#7d3f98",
    "other": "#a8325f",
    "free": "#16764f",
    "idle": "#8a939a",
    "unknown": "#b3aea2",
}

DARK: Mapping[str, str] = {
    "paper": "#11171a",
    "card": "#192125",
    "ink": "#ece8df",
    "soft": "#a9b2b6",
    "line": "#344046",
    "grid": "#273136",
    "accent": "#70c9bb",
    "wash": "#1d3230",
    "held": "#82b6f2",
    "soft-failure": "#e3b650",
    "crash": "#ff8d72",
    "no-evidence": "#98a3a9",
    "series-1": "#b4c3ca",
    "series-2": "#82b6f2",
    "series-3": "#f29a63",
    "series-4": "#62cc9b",
    "series-5": "#cf9fe4",
    "series-6": "#e2bd55",
    "series-7": "#f08bb0",
    "series-8": "#7cc7d6",
    "thermal": "#f29a63",
    "power": "#82b6f2",
    "current": "#cf9fe4",
    "other": "#f08bb0",
    "free": "#62cc9b",
    "idle": "#6c777d",
    "unknown": "#4b565c",
}

THEMES: Mapping[str, Mapping[str, str]] = {"light": LIGHT, "dark": DARK}

FONT = "system-ui, 'Liberation Sans', 'DejaVu Sans', sans-serif"

# Drawn in the box from -1 to 1, as Vega wants a symbol; the page's own legend draws the same paths.
_CIRCLE = "M1,0A1,1,0,1,1,-1,0A1,1,0,1,1,1,0Z"
_SQUARE = "M-0.88,-0.88H0.88V0.88H-0.88Z"
_DIAMOND = "M0,-1.2L1.1,0L0,1.2L-1.1,0Z"
_UP = "M0,-1.1L1.15,0.9H-1.15Z"
_DOWN = "M0,1.1L1.15,-0.9H-1.15Z"
_RIGHT = "M1.1,0L-0.9,1.15V-1.15Z"
_CROSS = (
    "M-1.1,-0.65L-0.65,-1.1L0,-0.45L0.65,-1.1L1.1,-0.65L0.45,0L1.1,0.65L0.65,1.1L0,0.45L-0.65,1.1L-1.1,0.65L-0.45,0Z"
)
_PLUS = "M-0.32,-1.1H0.32V-0.32H1.1V0.32H0.32V1.1H-0.32V0.32H-1.1V-0.32H-0.32Z"
_RING = "M1,0A1,1,0,1,1,-1,0A1,1,0,1,1,1,0ZM0.5,0A0.5,0.5,0,1,0,-0.5,0A0.5,0.5,0,1,0,0.5,0Z"
_BAR = "M-1.15,-0.32H1.15V0.32H-1.15Z"


@dataclass(frozen=True, slots=True)
class Look:
    """How one thing is told from its neighbours: by colour, by shape, and as a line by its dashes."""

    color: str
    shape: str
    dash: tuple[int, ...] = ()


OUTCOMES: Mapping[Outcome, Look] = {
    Outcome.HELD: Look("held", _CIRCLE),
    Outcome.MISCOMPUTE: Look("soft-failure", _UP),
    Outcome.CORRECTED: Look("soft-failure", _DOWN),
    Outcome.SLOW: Look("soft-failure", _RIGHT),
    Outcome.DRIVER_RESET: Look("crash", _DIAMOND),
    Outcome.HANG: Look("crash", _SQUARE),
    Outcome.RESET: Look("crash", _CROSS),
    Outcome.OVERHEAT: Look("no-evidence", _RING),
    Outcome.VOID: Look("no-evidence", _BAR),
}

_SERIES = (
    Look("series-1", _CIRCLE, (7, 3)),
    Look("series-2", _SQUARE, (2, 2)),
    Look("series-3", _UP, (10, 3, 2, 3)),
    Look("series-4", _DIAMOND, ()),
    Look("series-5", _DOWN, (5, 2)),
    Look("series-6", _PLUS, (12, 3)),
    Look("series-7", _CROSS, (3, 4)),
    Look("series-8", _RIGHT, (6, 2, 2, 2, 2, 2)),
)

# Every pattern of fill, as the lines that are drawn over the colour; see patterns.py.
LIMITERS: Mapping[str, str] = {
    "thermal": "hatch-up",
    "power": "hatch-down",
    "current": "dots",
    "other": "weave",
    "free": "plain",
    "idle": "steps",
    "unknown": "sparse",
}


def series(index: int) -> Look:
    """The look of the nth configuration or other series.

    After eight the colours come round again with other shapes and dashes, so that no two of 64 are alike.
    """
    count = len(_SERIES)
    form = _SERIES[(index + index // count) % count]
    return Look(_SERIES[index % count].color, form.shape, form.dash)


def ink(name: str) -> str:
    """A colour of the theme by name, as charts write it."""
    if name not in LIGHT:
        raise KeyError(name)
    return f"var(--{name})"


def with_colours(value: Any, theme: str) -> Any:
    """A chart's JSON with the colours themselves in place of their names, for a picture that stands alone."""
    palette = THEMES[theme]
    if isinstance(value, str):
        return re.sub(r"var\(--([a-z0-9-]+)\)", lambda found: palette[found.group(1)], value)
    if isinstance(value, dict):
        return {key: with_colours(item, theme) for key, item in value.items()}
    if isinstance(value, list):
        return [with_colours(item, theme) for item in value]
    return value


def vega_config(scale: float = 1.0) -> dict[str, Any]:
    """Vega-Lite's config in our look; ``scale`` enlarges the letters, for a picture that is seen from afar."""
    small = round(12 * scale, 1)
    return {
        "background": "transparent",
        "font": FONT,
        "padding": 4,
        "view": {"stroke": None},
        "axis": {
            "labelColor": ink("soft"),
            "titleColor": ink("soft"),
            "domainColor": ink("line"),
            "tickColor": ink("line"),
            "gridColor": ink("grid"),
            "labelFontSize": small,
            "titleFontSize": small,
            "titleFontWeight": "normal",
            "titlePadding": round(8 * scale),
            "labelPadding": round(4 * scale),
            "labelOverlap": "greedy",
            "labelSeparation": 6,
            "tickSize": 4,
        },
        "legend": {
            "labelColor": ink("ink"),
            "titleColor": ink("soft"),
            "labelFontSize": small,
            "titleFontSize": small,
            "titleFontWeight": "normal",
            "symbolStrokeWidth": 0,
            "symbolSize": round(110 * scale),
            "labelLimit": 400,
        },
        "title": {
            "anchor": "start",
            "frame": "group",
            "color": ink("ink"),
            "subtitleColor": ink("soft"),
            "fontSize": round(17 * scale),
            "subtitleFontSize": round(12 * scale),
            "fontWeight": 600,
            "offset": round(14 * scale),
            "subtitlePadding": round(5 * scale),
        },
        "text": {"color": ink("ink"), "fontSize": small},
        "rule": {"color": ink("soft")},
        "aria": True,
    }
