"""Edges of one knob among the units of a platform: how they are spread, and where each unit lies."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import OUTCOMES, ink
from surefoot.runs import Outcome

EDGE = "edge, and where eight tenths of it lie"
CERTIFIED = "known-stable"
SPREAD = "how the edges are spread"
ROW = 26
HILL = 120
"""Height of the hill above the rows, in pixels."""
EDGE_SHAPE = OUTCOMES[Outcome.DRIVER_RESET].shape
CERTIFIED_SHAPE = OUTCOMES[Outcome.HELD].shape


def draw(hill: pd.DataFrame, units: pd.DataFrame, title: str, deeper_down: bool, named: bool, canvas: Canvas) -> Any:
    """A hill of all edges, and under it a row a unit.

    ``hill``: ``value``, ``density`` (share of its peak); ``units``: ``unit``, ``edge``, ``low``, ``high``,
    ``certified`` (NaN where nothing is), ``row``, signed values; ``deeper_down``: deeper is more negative; ``named``:
    whether there is room for a name on each row.
    """
    every = [*hill["value"], *units["low"], *units["high"], 0.0]
    scale = alt.Scale(domain=[min(every), max(every)], reverse=deeper_down, nice=False, zero=False)
    axis = alt.Axis(labelExpr=common.STOCK_OR_OFFSET, grid=False, tickCount=7)
    rows = int(units["row"].max()) + 1
    height = HILL + (ROW if named else 9) * rows + 14
    x = alt.X("value:Q", title=title, scale=scale, axis=axis)
    # One axis in pixels: the hill stands on the line above the rows.
    pixels = alt.Scale(domain=[0, height], range=[0, height], nice=False)
    hill = hill.assign(top=HILL - hill["density"] * (HILL - 14), foot=float(HILL))
    step = ROW if named else 9
    units = units.assign(at=HILL + 14 + (units["row"] + 0.5) * step)
    area = (
        alt.Chart(datasets.values(hill))
        .mark_area(color=ink("crash"), opacity=0.16, line={"color": ink("crash"), "strokeWidth": 1.6}, aria=False)
        .encode(x=x, y=alt.Y("top:Q", scale=pixels, axis=None), y2=alt.Y2("foot:Q"))
    )
    base = alt.Chart(datasets.values(units))
    y = alt.Y("at:Q", scale=pixels, axis=None)
    tips = common.edge_tips("unit", "unit")
    bars = base.mark_rule(color=ink("crash"), strokeWidth=canvas.px(2.2), opacity=0.55, aria=False).encode(
        x=alt.X("low:Q", scale=scale, axis=axis, title=title), x2=alt.X2("high:Q"), y=y
    )
    points = base.mark_point(
        filled=True, size=canvas.px(95), opacity=1, shape=EDGE_SHAPE, color=ink("crash"), stroke=ink("card"),
        strokeWidth=1,
    ).encode(x=alt.X("edge:Q", scale=scale, axis=axis, title=title), y=y, tooltip=tips)  # fmt: skip
    stable = (
        base.transform_filter("isValid(datum.certified)")
        .mark_point(
            filled=True, size=canvas.px(80), opacity=1, shape=CERTIFIED_SHAPE, color=ink("held"), stroke=ink("card"),
            strokeWidth=1,
        )
        .encode(x=alt.X("certified:Q", scale=scale, axis=axis, title=title), y=y, tooltip=tips)
    )  # fmt: skip
    layers: list[Any] = [area, bars]
    if named:
        letters = {"align": "left", "baseline": "middle", "fontSize": canvas.px(12), "aria": False,
                   "limit": alt.ExprRef("width * 0.3")}  # fmt: skip
        lettered = base.encode(text=alt.Text("unit:N"), x=alt.XValue(0), y=y)
        layers += [
            lettered.mark_text(stroke=ink("card"), strokeWidth=canvas.px(5), strokeJoin="round", **letters),
            lettered.mark_text(color=ink("ink"), **letters),
        ]
    return alt.layer(*layers, stable, points, height=canvas.height or height)
