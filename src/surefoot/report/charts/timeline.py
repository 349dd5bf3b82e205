"""One sensor over time, one line a configuration, the range within each moment as a shade behind it."""

from __future__ import annotations

import json
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look

# One letter a field, and a number for the name: half the size that rows by name would take.
_FIELDS = {"minutes": "t", "mean": "m", "low": "l", "high": "h"}


def draw(frame: pd.DataFrame, looks: dict[str, Look], title: str, canvas: Canvas) -> Any:
    """Lines over time.

    ``frame``: ``minutes``, ``mean``, ``low``, ``high``, ``configuration``; ``title``: of the y axis, with its unit.
    """
    order = [name for name in looks if name in set(frame["configuration"])]
    data = datasets.named(_rows(frame, order))
    colour, _, dash = common.series_scales(order, [looks[name] for name in order])
    y_scale = alt.Scale(zero=False, nice=True)
    key = common.line_legend(canvas, columns=3)
    x = alt.X(
        "minutes:Q", title="minutes under load", axis=alt.Axis(grid=False, tickMinStep=1), scale=alt.Scale(nice=False)
    )
    places = {name: f"datum.{key}" for name, key in _FIELDS.items()}
    base = (
        alt.Chart(data)
        .transform_calculate(configuration=f"{json.dumps(order)}[datum.c]", **places)
        .transform_filter(common.shown("configuration"))
        .encode(x=x, color=alt.Color("configuration:N", scale=colour, legend=key))
    )  # fmt: skip
    band = base.mark_area(opacity=0.16, aria=False, clip=True).encode(
        y=alt.Y("low:Q", scale=y_scale, title=title), y2=alt.Y2("high:Q")
    )
    line = base.mark_line(strokeWidth=canvas.px(1.7), aria=False, clip=True).encode(
        y=alt.Y("mean:Q", scale=y_scale, title=title),
        strokeDash=alt.StrokeDash("configuration:N", scale=dash, legend=key),
    )
    if canvas.standalone:
        return alt.layer(band, line.add_params(common.hidden()), height=canvas.height)
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
    return alt.layer(band, line, touch.add_params(common.hidden(), common.zoom()), height=canvas.height or 230)


def _rows(frame: pd.DataFrame, order: list[str]) -> list[dict[str, float]]:
    made: list[dict[str, float]] = [{"c": order.index(name)} for name in frame["configuration"]]
    for name, key in _FIELDS.items():
        for row, value in zip(made, frame[name].tolist(), strict=True):
            row[key] = float(f"{value:.5g}")
    return made
