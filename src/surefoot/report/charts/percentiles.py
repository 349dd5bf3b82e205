"""Frame time over the share of the frames that took no longer: a line a configuration, the range of its runs behind."""

from __future__ import annotations

from statistics import NormalDist
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas
from surefoot.report.theme import Look

HEIGHT = 300
TICKS = (1.0, 10.0, 25.0, 50.0, 75.0, 90.0, 99.0, 99.9)


def draw(frame: pd.DataFrame, own: pd.DataFrame, looks: dict[str, Look], canvas: Canvas) -> Any:
    """Curves on probability paper, so that the slowest frame in a thousand has room beside the middle.

    ``frame``: ``configuration``, ``percent``, ``middle``, ``low``, ``high`` in ms, ``runs``; ``own``: single runs,
    ``configuration``, ``percent``, ``milliseconds``, ``run``, may be empty.
    """
    order = [name for name in looks if name in set(frame["configuration"])]
    colour, _, dash = common.series_scales(order, [looks[name] for name in order])
    key = common.line_legend(canvas, columns=3)
    at = {percent: _place(percent) for percent in TICKS if percent in set(frame["percent"])}
    labels = " : ".join(f"abs(datum.value - {place}) < 1e-3 ? '{percent:g} %'" for percent, place in at.items())
    axis = alt.Axis(grid=True, values=list(at.values()), labelExpr=f"{labels} : ''" if at else "''", labelOverlap=True)
    x = alt.X("place:Q", title="share of the frames that took no longer", axis=axis, scale=alt.Scale(nice=False))
    # Of the same work a faster machine takes a share less of each frame: the same distance along the whole curve.
    scale, title = alt.Scale(type="log", domain=_domain(frame), nice=False), "frame time, ms (logarithmic)"
    times = alt.Axis(tickCount=6, format="~g", labelOverlap=True)
    paint = alt.Color("configuration:N", scale=colour, legend=key)
    base = (
        alt.Chart(datasets.values(_placed(frame)))
        .transform_filter(common.shown("configuration"))
        .encode(x=x, color=paint)
    )  # fmt: skip
    band = base.mark_area(opacity=0.16, aria=False).encode(
        y=alt.Y("low:Q", scale=scale, title=title, axis=times), y2=alt.Y2("high:Q")
    )
    thin = (
        alt.Chart(datasets.values(_placed(own)))
        .transform_filter(common.shown("configuration"))
        .mark_line(strokeWidth=canvas.px(0.8), opacity=0.7, aria=False)
        .encode(x=x, y=alt.Y("milliseconds:Q", scale=scale, title=title), color=paint, detail="run:N")
    )
    line = base.mark_line(strokeWidth=canvas.px(2), aria=False).encode(
        y=alt.Y("middle:Q", scale=scale, title=title),
        strokeDash=alt.StrokeDash("configuration:N", scale=dash, legend=key),
    )
    touch = base.mark_point(filled=True, opacity=0, size=canvas.px(90)).encode(
        y=alt.Y("middle:Q", scale=scale, title=title),
        tooltip=[
            alt.Tooltip("configuration:N", title="configuration"),
            alt.Tooltip("percent:Q", title="% of the frames"),
            alt.Tooltip("middle:Q", title="at most, ms, middle of the runs", format=",.4~g"),
            alt.Tooltip("low:Q", title="fastest run", format=",.4~g"),
            alt.Tooltip("high:Q", title="slowest run", format=",.4~g"),
            alt.Tooltip("runs:Q", title="runs"),
        ],
    )
    drawn = [band, *([thin] if len(own) else []), line, *([] if canvas.standalone else [touch])]
    drawn[-1] = drawn[-1].add_params(common.hidden())
    return alt.layer(*drawn, height=canvas.height or HEIGHT)


def _domain(frame: pd.DataFrame) -> list[float]:
    """From under the fastest to over the slowest of the runs, ms."""
    return [round(float(frame["low"].min()) / 1.05, 4), round(float(frame["high"].max()) * 1.05, 4)]


def _placed(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(place=[_place(percent) for percent in frame["percent"]])


def _place(percent: float) -> float:
    """Where a percentile stands on probability paper: the quantile of the standard normal distribution."""
    return round(NormalDist().inv_cdf(percent / 100), 4)
