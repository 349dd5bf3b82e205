"""A measure by configuration: every run as a small mark, the mean as a large one, its interval as a bar."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look, ink

ROW = 46


def draw(
    means: pd.DataFrame,
    points: pd.DataFrame,
    looks: dict[str, Look],
    axis_title: str,
    baseline: float | None,
    canvas: Canvas,
) -> Any:
    """Rows of configurations, in the order of ``looks``.

    ``means``: ``configuration``, ``mean``, ``low``, ``high`` (NaN where one run has no interval), ``runs``, ``text``
    (what is written at the right end); ``points``: ``configuration``, ``value``, ``run``; ``baseline``: a value at
    which a line is drawn, or None.
    """
    order = [name for name in looks if name in set(means["configuration"])]
    colour, shape, _ = common.series_scales(order, [looks[name] for name in order])
    row = alt.Y("configuration:N", sort=order, axis=None, scale=alt.Scale(domain=order, type="point", padding=0.5))
    x_scale = alt.Scale(zero=False, nice=True, padding=14)
    x = alt.X("value:Q", title=axis_title, scale=x_scale, axis=alt.Axis(tickCount=6))
    drop = canvas.px(8)
    data = datasets.values(means)
    base = alt.Chart(data).encode(y=row)
    text = {"baseline": "middle", "dy": canvas.px(-11), "aria": False}
    names = _lettered(
        base.encode(text=alt.Text("configuration:N"), x=alt.XValue(0)),
        {"align": "left", "fontSize": canvas.px(12.5), "limit": alt.ExprRef("width * 0.6"), **text},
        canvas,
    )
    ends = _lettered(
        base.encode(text=alt.Text("text:N"), x=alt.XValue("width")),
        {"align": "right", "fontSize": canvas.px(12), "fontWeight": 600, **text},
        canvas,
    )
    dots = (
        alt.Chart(datasets.values(points))
        .mark_point(filled=True, size=canvas.px(34), opacity=0.45, yOffset=drop)
        .encode(
            x=x,
            y=row,
            color=alt.Color("configuration:N", scale=colour, legend=None),
            shape=alt.Shape("configuration:N", scale=shape, legend=None),
            tooltip=[
                alt.Tooltip("configuration:N", title="configuration"),
                alt.Tooltip("value:Q", title="this run", format=",.4~g"),
                alt.Tooltip("run:N", title="run"),
            ],
        )
    )
    with_interval = base.transform_filter("isValid(datum.low) && isValid(datum.high)")
    bars = with_interval.mark_rule(strokeWidth=canvas.px(2.4), yOffset=drop, y2Offset=drop, aria=False).encode(
        x=alt.X("low:Q", scale=x_scale, title=axis_title),
        x2=alt.X2("high:Q"),
        color=alt.Color("configuration:N", scale=colour, legend=None),
    )
    marks = base.mark_point(
        filled=True, size=canvas.px(150), opacity=1, stroke=ink("card"), strokeWidth=1.4, yOffset=drop
    ).encode(
        x=alt.X("mean:Q", scale=x_scale, title=axis_title),
        color=alt.Color("configuration:N", scale=colour, legend=None),
        shape=alt.Shape("configuration:N", scale=shape, legend=None),
        tooltip=[
            alt.Tooltip("configuration:N", title="configuration"),
            alt.Tooltip("mean:Q", title="mean", format=",.4~g"),
            alt.Tooltip("interval:N", title="interval"),
            alt.Tooltip("runs:Q", title="runs"),
        ],
    )
    layers = [*names, *ends, dots, bars, marks]
    if baseline is not None:
        # A piece beside each row's marks: the names and figures above them stay clear of it.
        piece = base.mark_point(
            shape="M0,-1V1", size=(2 * canvas.px(11)) ** 2, filled=False, opacity=1, stroke=ink("soft"), strokeWidth=1,
            strokeDash=[3, 3], yOffset=canvas.px(11), aria=False,
        )  # fmt: skip
        layers.insert(0, piece.encode(x=alt.X(datum=baseline, type="quantitative", scale=x_scale, title=axis_title)))
    return alt.layer(*layers, height=canvas.height or ROW * len(order) + 10)


def _lettered(base: Any, letters: dict[str, Any], canvas: Canvas) -> list[Any]:
    """Text on a plate, so that no line runs through it."""
    return [
        base.mark_text(stroke=ink("card"), strokeWidth=canvas.px(6), strokeJoin="round", **letters),
        base.mark_text(color=ink("ink"), **letters),
    ]
