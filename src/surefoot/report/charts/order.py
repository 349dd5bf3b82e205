"""Values in the order in which they were measured, the blocks of a trial shaded: a drift is seen as what it is."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look, ink

HEIGHT = 240


def draw(frame: pd.DataFrame, looks: dict[str, Look], axis_title: str, canvas: Canvas) -> Any:
    """``frame``: ``order`` from 1, ``configuration``, ``value``, ``run``, ``block`` (``in no block`` outside)."""
    names = list(looks)
    colour, shape, _ = common.series_scales(names, list(looks.values()))
    x_scale = alt.Scale(domain=[0.4, len(frame) + 0.6], nice=False)
    x = alt.X(
        "order:Q", title="run, in the order they were made", scale=x_scale, axis=alt.Axis(grid=False, tickCount=8)
    )
    inside = frame[frame["block"] != "in no block"]
    spans = inside.groupby("block", sort=False)["order"].agg(["min", "max"]).reset_index()
    bands = pd.DataFrame({"from": spans["min"] - 0.5, "to": spans["max"] + 0.5, "block": spans["block"]})
    # Every other one: neighbours are told apart.
    shaded = (
        alt.Chart(datasets.values(bands.iloc[::2]))
        .mark_rect(color=ink("soft"), opacity=0.14, aria=False)
        .encode(x=alt.X("from:Q", scale=x_scale), x2=alt.X2("to:Q"))
    )
    marks = (
        alt.Chart(datasets.values(frame))
        .transform_filter(common.shown("configuration"))
        .mark_point(filled=True, size=canvas.px(80), opacity=0.95, stroke=ink("card"), strokeWidth=1)
        .encode(
            x=x,
            y=alt.Y("value:Q", title=axis_title, scale=alt.Scale(zero=False, nice=True, padding=10)),
            color=alt.Color("configuration:N", scale=colour, legend=common.legend(canvas, columns=3)),
            shape=alt.Shape("configuration:N", scale=shape, legend=common.legend(canvas, columns=3)),
            tooltip=[
                alt.Tooltip("configuration:N", title="configuration"),
                alt.Tooltip("value:Q", title="value", format=",.4~g"),
                alt.Tooltip("run:N", title="run"),
                alt.Tooltip("block:N", title="block"),
            ],
        )
    )
    return alt.layer(shaded, marks.add_params(common.hidden()), height=canvas.height or HEIGHT)
