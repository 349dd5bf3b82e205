"""How a claim grew in use: the certified value of a knob over time, what was lived with, and what failed."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.picture import Canvas, LegendItem
from surefoot.report.theme import OUTCOMES, ink
from surefoot.runs import Outcome
from surefoot.units import Knob

CERTIFIED, LIVED, FAILED = "certified", "lived with", "failed in use"
SHAPE = OUTCOMES[Outcome.RESET].shape
LEGEND = (
    LegendItem(CERTIFIED, ink("held"), dash=()),
    LegendItem(LIVED, ink("accent"), dash=(2, 2)),
    LegendItem(FAILED, ink("crash"), shape=SHAPE),
)


def draw(grown: pd.DataFrame, lived: pd.DataFrame, knob: Knob, canvas: Canvas) -> Any:
    """A stair of what was certified, over the settings that were lived with.

    ``grown``: ``at`` (text of a moment), ``value``, ``awake``, ``load`` (hours until then), ``failures``; ``lived``: a
    row a stretch: ``begun``, ``ended``, ``value``, ``outcome``, ``failed``.
    """
    values = [*grown["value"], *lived["value"]]
    low, high = min(values), max(values)
    room = max(0.08 * (high - low), knob.step)
    scale = alt.Scale(domain=[low - room, high + room], nice=False, zero=False)
    x = alt.X("at:T", title="time (UTC)", axis=alt.Axis(grid=False, tickCount=6))
    y = alt.Y(
        "value:Q",
        title=f"{knob.name}, {knob.unit}",
        scale=scale,
        axis=alt.Axis(labelExpr=common.STOCK_OR_OFFSET, tickCount=6),
    )
    stretches = alt.Chart(datasets.values(lived))
    held = stretches.mark_rule(color=ink("accent"), strokeWidth=canvas.px(3), strokeDash=[2, 2], aria=False).encode(
        x=alt.X("begun:T", title="time (UTC)"), x2=alt.X2("ended:T"), y=y
    )
    base = alt.Chart(datasets.values(grown)).encode(x=x, y=y)
    stair = base.mark_line(interpolate="step-after", color=ink("held"), strokeWidth=canvas.px(2.2), aria=False)
    points = base.mark_point(
        filled=True, size=canvas.px(70), opacity=1, color=ink("held"), stroke=ink("card"), strokeWidth=1
    ).encode(
        tooltip=[
            alt.Tooltip("at:N", title="until"),
            alt.Tooltip("value:Q", title=f"certified, {knob.unit}"),
            alt.Tooltip("awake:Q", title="hours awake", format=",.1f"),
            alt.Tooltip("load:Q", title="hours under load", format=",.1f"),
            alt.Tooltip("failures:Q", title="failures in use"),
        ]
    )
    crashes = (
        stretches.transform_filter("datum.failed")
        .mark_point(
            filled=True, size=canvas.px(150), opacity=1, color=ink("crash"), shape=SHAPE, stroke=ink("card"),
            strokeWidth=1,
        )
        .encode(
            x=alt.X("ended:T", title="time (UTC)"),
            y=y,
            tooltip=[
                alt.Tooltip("ended:N", title="failed"),
                alt.Tooltip("value:Q", title=f"at, {knob.unit}"),
                alt.Tooltip("outcome:N", title="outcome"),
            ],
        )
    )  # fmt: skip
    return alt.layer(held, stair, points, crashes, height=canvas.height or 260)
