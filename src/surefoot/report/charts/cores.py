"""Edges core by core, for a unit that has an offset for each: where each lies, and what is certified."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import OUTCOMES, ink
from surefoot.runs import Outcome

ROW = 26
EDGE_SHAPE = OUTCOMES[Outcome.DRIVER_RESET].shape
CERTIFIED_SHAPE = OUTCOMES[Outcome.HELD].shape


def draw(frame: pd.DataFrame, title: str, deeper_down: bool, canvas: Canvas) -> Any:
    """A row a core (or a pair that shares a rail), in the order of the frame.

    ``frame``: ``cores`` in words, ``edge``, ``low``, ``high`` (eight tenths of the edge's density), ``certified`` (NaN
    where nothing is), signed values, and each of them in words; ``deeper_down``: deeper is more negative.
    """
    every = [*frame["low"], *frame["high"], *frame["certified"].dropna(), 0.0]
    scale = alt.Scale(domain=[min(every), max(every)], reverse=deeper_down, nice=True, zero=False)
    axis = alt.Axis(labelExpr=common.STOCK_OR_OFFSET, grid=True, tickCount=7)
    y = alt.Y(
        "cores:N", sort=list(frame["cores"]), title=None, axis=alt.Axis(ticks=False, domain=False, labelLimit=150)
    )
    base = alt.Chart(datasets.values(frame))
    tips = common.edge_tips("cores", "core")

    def x(field: str) -> Any:
        return alt.X(f"{field}:Q", title=title, scale=scale, axis=axis)

    bars = base.mark_rule(color=ink("crash"), strokeWidth=canvas.px(2.2), opacity=0.55, aria=False).encode(
        x=x("low"), x2=alt.X2("high:Q"), y=y
    )
    marks = {"filled": True, "opacity": 1, "stroke": ink("card"), "strokeWidth": 1}
    edges = base.mark_point(size=canvas.px(95), shape=EDGE_SHAPE, color=ink("crash"), **marks).encode(
        x=x("edge"), y=y, tooltip=tips
    )
    stable = (
        base.transform_filter("isValid(datum.certified)")
        .mark_point(size=canvas.px(80), shape=CERTIFIED_SHAPE, color=ink("held"), **marks)
        .encode(x=x("certified"), y=y, tooltip=tips)
    )
    return alt.layer(bars, stable, edges, height=canvas.height or ROW * len(frame) + 14)
