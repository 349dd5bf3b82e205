"""What each unit cost: hours under load on the bench and in use, and its crashes."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.patterns import fill
from surefoot.report.picture import Canvas, LegendItem
from surefoot.report.theme import ink

BENCH, USE = "on the bench", "in use"
FILLS = {BENCH: fill("power"), USE: fill("free")}
LEGEND = tuple(LegendItem(name, FILLS[name]) for name in (BENCH, USE))
ROW = 40


def draw(frame: pd.DataFrame, order: list[str], canvas: Canvas) -> Any:
    """Bars of hours. ``frame``: ``unit``, ``where`` (`BENCH` or `USE`), ``start``, ``end``, ``hours``, ``crashes``,
    ``text`` (at the right end of a unit's first bar, else "")."""
    row = alt.Y("unit:N", sort=order, axis=None, scale=alt.Scale(domain=order, paddingInner=0.0, paddingOuter=0.02))
    x = alt.X("start:Q", title="hours under load", axis=alt.Axis(tickCount=6))
    scale = alt.Scale(domain=list(FILLS), range=list(FILLS.values()))
    height, drop = canvas.px(13), canvas.px(9)
    base = alt.Chart(datasets.values(frame))
    bars = base.mark_bar(height=height, yOffset=drop, stroke=ink("card"), strokeWidth=1).encode(
        x=x,
        x2=alt.X2("end:Q"),
        y=row,
        fill=alt.Fill("where:N", scale=scale, legend=common.legend(canvas, symbolType="square", symbolSize=260)),
        tooltip=[
            alt.Tooltip("unit:N", title="unit"),
            alt.Tooltip("where:N", title="where"),
            alt.Tooltip("hours:Q", title="hours under load", format=",.1f"),
            alt.Tooltip("crashes:Q", title="crashes there"),
        ],
    )
    letters = {"baseline": "middle", "dy": canvas.px(-8), "fontSize": canvas.px(12), "color": ink("ink"), "aria": False}
    first = base.transform_filter("datum.text != ''").encode(y=row)
    names = first.mark_text(align="left", limit=alt.ExprRef("width * 0.55"), **letters).encode(
        x=alt.XValue(0), text=alt.Text("unit:N")
    )
    ends = first.mark_text(align="right", fontWeight=600, **letters).encode(
        x=alt.XValue("width"), text=alt.Text("text:N")
    )
    return alt.layer(bars, names, ends, height=canvas.height or ROW * len(order) + 6)
