"""What is known of a knob's edge: the densities of the edge and of the goal depth, and the hours between failures."""

from __future__ import annotations

import json
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.patterns import GUARD_BAND
from surefoot.report.picture import Canvas
from surefoot.report.theme import OUTCOMES, ink
from surefoot.report.words import minus
from surefoot.runs import Outcome
from surefoot.units import Knob

EDGE = "the edge: one hour between failures"
GOAL = "the deepest that meets the goal"
NARROW = 340


def _x(knob: Knob, reach: tuple[float, float]) -> Any:
    low, high = sorted((knob.value_at(reach[0]), knob.value_at(reach[1])))
    return alt.X(
        "value:Q",
        title=f"{knob.name}, {knob.unit} (deeper to the right)",
        scale=alt.Scale(domain=[low, high], reverse=knob.sign < 0, nice=False, zero=False),
        axis=alt.Axis(labelExpr=common.STOCK_OR_OFFSET, grid=False, tickCount=7),
    )


def density(
    frame: pd.DataFrame,
    runs: pd.DataFrame,
    knob: Knob,
    reach: tuple[float, float],
    recommended: float | None,
    edge: float | None,
    canvas: Canvas,
) -> Any:
    """Densities over the knob's values.

    ``frame``: ``value``, ``density`` (share of each curve's peak), ``curve`` (`EDGE` or `GOAL`); ``runs``: ``value``,
    ``outcome``, ``minutes``, ``run`` for the marks along the bottom; ``reach``: the depths shown; ``recommended``,
    ``edge``: signed values, or None.
    """
    x = _x(knob, reach)
    y = alt.Y(
        "density:Q",
        title="density",
        axis=alt.Axis(labels=False, ticks=False, grid=False),
        scale=alt.Scale(domain=[-0.14, 1.22]),
    )
    layers: list[Any] = []
    if recommended is not None and edge is not None:
        layers += _guard(recommended, edge, knob, reach, x, canvas)
    domain = [EDGE, GOAL]
    key = common.line_legend(canvas)
    colour = alt.Scale(domain=domain, range=[ink("crash"), ink("held")])
    dash = alt.Scale(domain=domain, range=[[1, 0], [5, 3]])
    curves = (
        alt.Chart(datasets.values(frame))
        .transform_filter(common.shown("curve"))
        .encode(
            x=x,
            y=y,
            color=alt.Color("curve:N", scale=colour, legend=key),
        )
    )
    areas = curves.mark_area(opacity=0.14, aria=False).encode(y2=alt.Y2Datum(0))
    lines = curves.mark_line(strokeWidth=canvas.px(2), aria=False).encode(
        strokeDash=alt.StrokeDash("curve:N", scale=dash, legend=key)
    )
    touch = curves.mark_point(opacity=0, size=90).encode(
        tooltip=[alt.Tooltip("depth_text:N", title="setting"), alt.Tooltip("curve:N", title="curve"),
                 alt.Tooltip("density:Q", title="density, share of the peak", format=".2f")],
    )  # fmt: skip
    layers += [areas, lines.add_params(common.hidden()) if canvas.standalone else touch.add_params(common.hidden())]
    if not canvas.standalone:
        layers.insert(-1, lines)
    if len(runs):
        layers.append(_rug(runs, x, canvas))
    return alt.layer(*layers, height=canvas.height or 300)


def _guard(
    recommended: float, edge: float, knob: Knob, reach: tuple[float, float], x: Any, canvas: Canvas
) -> list[Any]:
    band = alt.Chart(alt.Data(values=[{"value": recommended, "end": edge}]))
    at = alt.Chart(alt.Data(values=[{"value": recommended}])).encode(x=x)
    band_words = f"{abs(edge - recommended):.3g} {knob.unit}"
    words = [minus(f"recommended {recommended:+g} {knob.unit}") if recommended else "recommended: stock"]
    words.append(f"guard band {band_words}")
    # Where there is little room the title above says what is what.
    short = [minus(knob.describe(knob.depth_of(recommended))), f"guard {band_words}"]
    # Towards the side that has room.
    left = (knob.depth_of(recommended) - reach[0]) > 0.42 * (reach[1] - reach[0])
    letters = {
        "text": alt.ExprRef(f"width < {NARROW} ? {json.dumps(short)} : {json.dumps(words)}"),
        "align": "right" if left else "left", "dx": -7 if left else 7, "dy": 6, "baseline": "top", "aria": False,
        "fontSize": canvas.px(12), "fontWeight": 600, "lineHeight": canvas.px(15),
    }  # fmt: skip
    return [
        band.mark_rect(fill=GUARD_BAND, opacity=0.8, aria=False).encode(x=x, x2=alt.X2("end:Q")),
        at.mark_rule(color=ink("accent"), strokeWidth=canvas.px(2.2), aria=False),
        at.mark_text(stroke=ink("card"), strokeWidth=canvas.px(5), strokeJoin="round", **letters).encode(
            y=alt.YValue(0)
        ),
        at.mark_text(color=ink("accent"), **letters).encode(y=alt.YValue(0)),
    ]


def _rug(runs: pd.DataFrame, x: Any, canvas: Canvas) -> Any:
    looks = [OUTCOMES[Outcome(name)] for name in runs["outcome"]]
    placed = runs.assign(density=-0.07, ink=[ink(look.color) for look in looks], path=[look.shape for look in looks])
    # The colours and shapes themselves, with no scale: the chart's own scale is that of its curves.
    return (
        alt.Chart(datasets.values(placed))
        .mark_point(filled=True, size=canvas.px(60), opacity=0.9, stroke=ink("card"), strokeWidth=0.7)
        .encode(
            x=x,
            y=alt.Y("density:Q"),
            shape=alt.Shape("path:N", scale=None),
            color=alt.Color("ink:N", scale=None),
            tooltip=[
                alt.Tooltip("run:N", title="run"),
                alt.Tooltip("outcome:N", title="outcome"),
                alt.Tooltip("minutes:Q", title="minutes under load", format=".3~g"),
            ],
        )
    )


def life(frame: pd.DataFrame, knob: Knob, reach: tuple[float, float], goal_hours: float, canvas: Canvas) -> Any:
    """Mean time to failure over the knob's values: ``frame`` has ``value``, ``low``, ``middle``, ``high`` in hours."""
    x = _x(knob, reach)
    y_scale = alt.Scale(type="log", domain=[0.01, 10000], nice=False)
    axis = alt.Axis(values=[0.01, 0.1, 1, 10, 100, 1000, 10000], format="~g", labelOverlap=False)
    base = alt.Chart(datasets.values(frame)).encode(x=x)
    band = base.mark_area(color=ink("held"), opacity=0.16, aria=False, clip=True).encode(
        y=alt.Y("low:Q", scale=y_scale, title="hours of load between failures", axis=axis), y2=alt.Y2("high:Q")
    )
    line = base.mark_line(color=ink("held"), strokeWidth=canvas.px(2), aria=False, clip=True).encode(
        y=alt.Y("middle:Q", scale=y_scale)
    )
    touch = base.mark_point(opacity=0, size=90, clip=True).encode(
        y=alt.Y("middle:Q", scale=y_scale),
        tooltip=[alt.Tooltip("depth_text:N", title="setting"),
                 alt.Tooltip("middle:Q", title="hours, middle", format=".3~g"),
                 alt.Tooltip("low:Q", title="hours, at least", format=".3~g"),
                 alt.Tooltip("high:Q", title="hours, at most", format=".3~g")],
    )  # fmt: skip
    goal = alt.Chart(alt.Data(values=[{"hours": goal_hours}])).encode(y=alt.Y("hours:Q", scale=y_scale))
    rule = goal.mark_rule(color=ink("accent"), strokeWidth=canvas.px(1.6), strokeDash=[6, 3], aria=False)
    # The line comes down from the left, where the knob is at stock: below the goal's line there is room beside it.
    # Where even stock does not meet the goal, it runs below throughout, and the room is above.
    below = bool(frame["middle"].iloc[0] > goal_hours) if len(frame) else False
    label = goal.mark_text(
        text=f"goal: {goal_hours:g} h", align="left" if below else "right", baseline="top" if below else "bottom",
        dx=4 if below else -4, dy=5 if below else -4, fontSize=canvas.px(12), fontWeight=600, color=ink("accent"),
        aria=False,
    ).encode(x=alt.XValue(0 if below else "width"))  # fmt: skip
    return alt.layer(band, line, rule, label, touch, height=canvas.height or 300)
