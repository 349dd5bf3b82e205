"""What held the clock down: each configuration's time, shared out by limiter, hatched and labelled."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.patterns import fill
from surefoot.report.picture import Canvas, LegendItem
from surefoot.report.theme import LIMITERS, ink

ROW = 50
WORDS = {
    "thermal": "temperature",
    "power": "power limit",
    "current": "current limit",
    "other": "another reason",
    "free": "nothing: free",
    "idle": "idle",
    "unknown": "could not be judged",
}


def legend_items(present: set[str]) -> tuple[LegendItem, ...]:
    """The page's legend of the limiters that occur."""
    return tuple(LegendItem(WORDS[name], fill(name)) for name in LIMITERS if name in present)


def draw(frame: pd.DataFrame, order: list[str], canvas: Canvas) -> Any:
    """Stacked bars of each configuration's time.

    ``frame``: ``configuration``, ``limiter`` (key of `WORDS`), ``share`` (0 to 1), ``start``, ``end``, ``label`` and
    ``rule`` (how it was judged).
    """
    present = [name for name in LIMITERS if name in set(frame["limiter"])]
    fills = alt.Scale(domain=[WORDS[name] for name in present], range=[fill(name) for name in present])
    row = alt.Y(
        "configuration:N", sort=order, axis=None, scale=alt.Scale(domain=order, paddingInner=0.0, paddingOuter=0.02)
    )
    x = alt.X("start:Q", title="share of the time", scale=alt.Scale(domain=[0, 1], nice=False),
              axis=alt.Axis(format="%", tickCount=5, grid=False))  # fmt: skip
    data = datasets.values(frame.assign(word=frame["limiter"].map(WORDS)))
    base = alt.Chart(data)
    height, drop = canvas.px(17), canvas.px(10)
    bars = base.mark_bar(height=height, yOffset=drop, stroke=ink("card"), strokeWidth=1.5).encode(
        x=x,
        x2=alt.X2("end:Q"),
        y=row,
        fill=alt.Fill(
            "word:N", scale=fills, legend=common.legend(canvas, symbolType="square", symbolSize=canvas.px(260))
        ),
        tooltip=[
            alt.Tooltip("configuration:N", title="configuration"),
            alt.Tooltip("word:N", title="held down by"),
            alt.Tooltip("share:Q", title="share of the time", format=".0%"),
            alt.Tooltip("rule:N", title="judged by"),
        ],
    )
    middle = base.transform_calculate(middle="(datum.start + datum.end) / 2").transform_filter(
        f"datum.share * width > length(datum.label) * {canvas.px(6.6)} + 16"
    )
    # A plate under the letters, so that they are read over any hatching.
    labels = {"fontSize": canvas.px(11.5), "fontWeight": 600, "yOffset": drop, "baseline": "middle", "aria": False}
    plate = middle.mark_text(stroke=ink("card"), strokeWidth=canvas.px(4), strokeJoin="round", **labels).encode(
        x=alt.X("middle:Q"), y=row, text=alt.Text("label:N")
    )
    words = middle.mark_text(color=ink("ink"), **labels).encode(x=alt.X("middle:Q"), y=row, text=alt.Text("label:N"))
    names = (
        alt.Chart(datasets.values(pd.DataFrame({"configuration": order})))
        .mark_text(align="left", baseline="middle", dy=canvas.px(-10), fontSize=canvas.px(12.5), color=ink("ink"),
                   limit=alt.ExprRef("width"), aria=False)
        .encode(y=row, x=alt.XValue(0), text=alt.Text("configuration:N"))
    )  # fmt: skip
    return alt.layer(bars, plate, words, names, height=canvas.height or ROW * len(order) + 6)
