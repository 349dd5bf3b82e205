"""What several charts share: axes, toggles, zoom, outcome scales, text that hides where there is no room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import altair as alt

from surefoot.report.picture import Canvas, LegendItem
from surefoot.report.theme import OUTCOMES, Look, ink
from surefoot.runs import Outcome

STOCK_OR_OFFSET = "datum.value == 0 ? 'stock' : format(datum.value, '+,')"
"""Axis labels of a knob: signed offsets, and the word where there is none."""


def hidden() -> alt.Parameter:
    """The list of what the reader has switched off in the page's legend."""
    return alt.param(name="hidden", value=[])


def shown(field: str) -> str:
    """A filter that leaves out what is switched off."""
    return f"indexof(hidden, datum['{field}']) < 0"


def zoom(field_encoding: str = "x") -> alt.Parameter:
    """Pan by dragging with a mouse, zoom by turning the wheel with Shift held, so that the page still scrolls."""
    return alt.selection_interval(
        name="zoom",
        bind="scales",
        encodings=[field_encoding],
        zoom="wheel![event.shiftKey]",
        translate="[mousedown, window:mouseup] > window:mousemove!",
    )


def roomy(least_width: int, otherwise: float = 0.0) -> Any:
    """Full opacity where the chart is at least so wide: a label that would not fit on a phone."""
    return alt.OpacityValue(otherwise, condition={"test": f"width >= {least_width}", "value": 1})


def outcome_scales(present: Iterable[str]) -> tuple[alt.Scale, alt.Scale]:
    """Colour and shape scales over the outcomes that occur, in their fixed order."""
    names = [outcome.value for outcome in OUTCOMES if outcome.value in set(present)]
    looks = [OUTCOMES[Outcome(name)] for name in names]
    return (
        alt.Scale(domain=names, range=[ink(look.color) for look in looks]),
        alt.Scale(domain=names, range=[look.shape for look in looks]),
    )


def outcome_legend(present: Iterable[str]) -> tuple[LegendItem, ...]:
    """The page's legend of the outcomes that occur; each can be switched off."""
    names = [outcome.value for outcome in OUTCOMES if outcome.value in set(present)]
    return tuple(
        LegendItem(name, ink(OUTCOMES[Outcome(name)].color), value=name, shape=OUTCOMES[Outcome(name)].shape)
        for name in names
    )


def series_scales(names: Sequence[str], looks: Sequence[Look]) -> tuple[alt.Scale, alt.Scale, alt.Scale]:
    """Colour, shape and dash scales over named series."""
    domain = list(names)
    return (
        alt.Scale(domain=domain, range=[ink(look.color) for look in looks]),
        alt.Scale(domain=domain, range=[look.shape for look in looks]),
        alt.Scale(domain=domain, range=[list(look.dash) or [1, 0] for look in looks]),
    )


def series_legend(names: Sequence[str], looks: Sequence[Look], *, lines: bool = False) -> tuple[LegendItem, ...]:
    """The page's legend of named series; each can be switched off."""
    return tuple(
        LegendItem(
            name, ink(look.color), value=name, shape="" if lines else look.shape, dash=look.dash if lines else None
        )
        for name, look in zip(names, looks, strict=True)
    )


def legend(canvas: Canvas, title: str | None = None, **options: Any) -> alt.Legend | None:
    """A legend inside the drawing, for a picture that stands alone; the page has its own."""
    if not canvas.standalone:
        return None
    return alt.Legend(title=title, orient="bottom", direction="horizontal", **options)


def line_legend(canvas: Canvas, **options: Any) -> alt.Legend | None:
    """The same for lines: a stretch of each."""
    strokes: dict[str, Any] = {
        "symbolType": "stroke",
        "symbolStrokeWidth": canvas.px(2.2),
        "symbolOpacity": 1,
        "symbolSize": canvas.px(500),
    }
    return legend(canvas, **strokes, **options)


def edge_tips(field: str, title: str) -> list[Any]:
    """What is told of an edge: whose it is (``field``, a column, under ``title``), where it lies, what is known."""
    return [
        alt.Tooltip(f"{field}:N", title=title),
        alt.Tooltip("edge_text:N", title="edge"),
        alt.Tooltip("likely_text:N", title="lies likely"),
        alt.Tooltip("certified_text:N", title="known-stable"),
        alt.Tooltip("failures:Q", title="failures it rests on"),
    ]
