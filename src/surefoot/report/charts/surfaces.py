"""How hot the surfaces get, by place and configuration, against the thresholds for long contact of ISO 13732-1."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look, ink

ROW = 64


def draw(frame: pd.DataFrame, looks: dict[str, Look], thresholds: Sequence[tuple[float, str]], canvas: Canvas) -> Any:
    """Marks by place.

    ``frame``: ``place``, ``configuration``, ``celsius`` (the hottest reading), ``readings``, ``verdict``;
    ``thresholds``: Celsius and the contact time it stands for.
    """
    order = [name for name in looks if name in set(frame["configuration"])]
    places = list(frame.groupby("place")["celsius"].max().sort_values(ascending=False).index)
    colour, shape, _ = common.series_scales(order, [looks[name] for name in order])
    row = alt.Y("place:N", sort=places, axis=None, scale=alt.Scale(domain=places, type="point", padding=0.5))
    low = min(float(frame["celsius"].min()) - 2, 28.0)
    high = max(float(frame["celsius"].max()) + 2, max(celsius for celsius, _ in thresholds) + 3)
    x_scale = alt.Scale(domain=[low, high], nice=False, zero=False)
    x = alt.X("celsius:Q", title="surface, °C", scale=x_scale, axis=alt.Axis(grid=False, tickCount=7))
    rules = alt.Chart(alt.Data(values=[{"celsius": celsius, "word": word} for celsius, word in thresholds]))
    lines = rules.mark_rule(color=ink("crash"), strokeDash=[2, 3], strokeWidth=canvas.px(1.2), aria=False).encode(x=x)
    words = rules.mark_text(
        angle=270, align="left", baseline="bottom", dx=4, dy=-3, fontSize=canvas.px(11), color=ink("crash"), aria=False
    ).encode(x=x, y=alt.YValue("height"), text=alt.Text("word:N"), opacity=common.roomy(300))
    names = (
        alt.Chart(datasets.values(pd.DataFrame({"place": places})))
        .mark_text(
            align="left", baseline="middle", dy=canvas.px(-18), fontSize=canvas.px(12.5), color=ink("ink"), aria=False
        )
        .encode(y=row, x=alt.XValue(0), text=alt.Text("place:N"))
    )
    marks = (
        alt.Chart(datasets.values(frame))
        .transform_filter(common.shown("configuration"))
        .mark_point(
            filled=True, size=canvas.px(130), opacity=0.92, stroke=ink("card"), strokeWidth=1, yOffset=canvas.px(8)
        )
        .encode(
            x=x,
            y=row,
            color=alt.Color("configuration:N", scale=colour, legend=common.legend(canvas, columns=3)),
            shape=alt.Shape("configuration:N", scale=shape, legend=common.legend(canvas, columns=3)),
            tooltip=[
                alt.Tooltip("place:N", title="place"),
                alt.Tooltip("configuration:N", title="configuration"),
                alt.Tooltip("celsius:Q", title="°C", format=".1f"),
                alt.Tooltip("verdict:N", title="long contact"),
            ],
        )
    )
    return alt.layer(
        lines, words, names, marks.add_params(common.hidden()), height=canvas.height or ROW * len(places) + 10
    )
