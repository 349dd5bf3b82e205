"""One sensor over time, one line a configuration, the range within each moment as a shade behind it."""

from __future__ import annotations

import json
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report.charts import parts
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look

_PARSE = {name: "number" for name in ("c", "minutes", "mean", "low", "high")}


def draw(frame: pd.DataFrame, looks: dict[str, Look], title: str, canvas: Canvas) -> Any:
    """``frame``: ``minutes``, ``mean``, ``low``, ``high``, ``configuration``; ``title``: of the y axis, with its unit."""
    order = [name for name in looks if name in set(frame["configuration"])]
    text = frame.assign(c=frame["configuration"].map(order.index))[["c", "minutes", "mean", "low", "high"]].to_csv(
        index=False, float_format="%.5g", lineterminator="\n"
    )
    # As text and with a number for the name: a fifth of the size that rows of JSON would take.
    data = alt.Data(values=text, format=alt.CsvDataFormat(type="csv", parse=_PARSE))
    colour, _, dash = parts.series_scales(order, [looks[name] for name in order])
    y_scale = alt.Scale(zero=False, nice=True)
    x = alt.X("minutes:Q", title="minutes under load", axis=alt.Axis(grid=False), scale=alt.Scale(nice=False))
    base = (
        alt.Chart(data)
        .transform_calculate(configuration=f"{json.dumps(order)}[datum.c]")
        .transform_filter(parts.shown("configuration"))
        .encode(x=x, color=alt.Color("configuration:N", scale=colour, legend=parts.legend(
            canvas, symbolType="stroke", symbolStrokeWidth=3, columns=3)))
    )  # fmt: skip
    band = base.mark_area(opacity=0.16, aria=False, clip=True).encode(
        y=alt.Y("low:Q", scale=y_scale, title=title), y2="high:Q"
    )
    line = base.mark_line(strokeWidth=canvas.px(1.7), aria=False, clip=True).encode(
        y=alt.Y("mean:Q", scale=y_scale, title=title),
        strokeDash=alt.StrokeDash("configuration:N", scale=dash, legend=parts.legend(canvas, columns=3)),
    )
    touch = base.mark_point(opacity=0, size=50, clip=True, aria=False).encode(
        y=alt.Y("mean:Q", scale=y_scale, title=title),
        tooltip=[
            alt.Tooltip("configuration:N", title="configuration"),
            alt.Tooltip("minutes:Q", title="minutes under load", format=".1f"),
            alt.Tooltip("mean:Q", title=title, format=",.4~g"),
            alt.Tooltip("low:Q", title="least", format=",.4~g"),
            alt.Tooltip("high:Q", title="greatest", format=",.4~g"),
        ],
    )
    return alt.layer(band, line, touch.add_params(parts.hidden(), parts.zoom())).properties(height=canvas.height or 230)
