"""Pass and fail over two knobs: where the unit held, where it did not, and where the goal's border lies."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.charts.room import Place, roomiest
from surefoot.report.picture import Canvas
from surefoot.report.theme import ink
from surefoot.units import Knob


def draw(
    frame: pd.DataFrame,
    across: Knob,
    up: Knob,
    border: pd.DataFrame | None,
    known: tuple[float, float] | None,
    canvas: Canvas,
) -> Any:
    """Chart of runs over two knobs.

    ``frame``: one row a setting and outcome: ``x``, ``y`` (signed values), ``outcome``, ``runs``, ``minutes``,
    ``setting``; ``border``: rows ``x``, ``y`` of the line where the goal's MTTF is just met, or None; ``known``: the
    known-stable values of both.
    """
    colour, shape = common.outcome_scales(frame["outcome"])
    x = alt.X(
        "x:Q",
        title=f"{across.name}, {across.unit} (deeper to the right)"
        if across.sign < 0
        else f"{across.name}, {across.unit}",
        scale=_scale(frame["x"], across),
        axis=alt.Axis(labelExpr=common.STOCK_OR_OFFSET, tickCount=8),
    )
    y = alt.Y(
        "y:Q",
        title=f"{up.name}, {up.unit}" + (" (deeper upwards)" if up.sign < 0 else ""),
        scale=_scale(frame["y"], up),
        axis=alt.Axis(labelExpr=common.STOCK_OR_OFFSET, tickCount=7),
    )
    layers: list[Any] = []
    if border is not None and len(border):
        layers += _border(border, x, y, canvas)
    if known is not None:
        layers += _known(known, _below(border, known, frame, across, up), x, y, canvas)
    marks = (
        alt.Chart(datasets.values(_side_by_side(frame)))
        .mark_point(filled=True, stroke=ink("card"), strokeWidth=1, opacity=1)
        .transform_filter(common.shown("outcome"))
        .encode(
            x=_at(x),
            y=y,
            shape=alt.Shape("outcome:N", scale=shape, legend=common.legend(canvas)),
            color=alt.Color("outcome:N", scale=colour, legend=common.legend(canvas)),
            size=alt.Size(
                "minutes:Q",
                legend=None,
                scale=alt.Scale(domain=[0, max(60.0, float(frame["minutes"].max()))], range=[80, 700]),
            ),
            order=alt.Order("minutes:Q", sort="descending"),
            tooltip=[
                alt.Tooltip("setting:N", title="setting"),
                alt.Tooltip("outcome:N", title="outcome"),
                alt.Tooltip("runs:Q", title="runs"),
                alt.Tooltip("minutes:Q", title="minutes under load", format=".3~g"),
            ],
        )
    )
    return alt.layer(*layers, marks.add_params(common.hidden()), height=canvas.height or 380)


def _side_by_side(frame: pd.DataFrame) -> pd.DataFrame:
    """Outcomes of one setting a little apart, so that none hides another; ``at`` is where each is drawn."""
    apart = 0.017 * max(float(frame["x"].abs().max()), 1.0)
    slot = frame.groupby(["x", "y"]).cumcount()
    return frame.assign(at=frame["x"] + apart * slot * (1 if frame["x"].max() > 0 else -1))


def _at(x: Any) -> Any:
    moved = x.copy()
    moved.shorthand = "at:Q"
    return moved


def _reach(values: pd.Series[float], knob: Knob) -> tuple[float, float]:
    """From just beside stock to just past the deepest that was tried."""
    reach = max(float(values.abs().max()), knob.step)
    return -0.07 * reach * knob.sign, 1.1 * reach * knob.sign


def _below(
    border: pd.DataFrame | None, known: tuple[float, float], frame: pd.DataFrame, across: Knob, up: Knob
) -> bool:
    """Whether the word of the known-stable setting stands below its square, clear of the border, or else above."""
    if border is None or not len(border):
        return True

    def share(values: Any, reach: tuple[float, float]) -> Any:
        return (values - reach[0]) / (reach[1] - reach[0])

    wide, high = _reach(frame["x"], across), _reach(frame["y"], up)
    x, y = float(share(known[0], wide)), float(share(known[1], high))
    places = [Place(x - 0.2, x + 0.2, y - far, y - near) for near, far in ((0.05, 0.12), (-0.12, -0.05))]
    return roomiest(places, share(border["x"].to_numpy(), wide), share(border["y"].to_numpy(), high)) is places[0]


def _scale(values: pd.Series[float], knob: Knob) -> Any:
    """Deeper to the right or upwards."""
    low, high = sorted(_reach(values, knob))
    return alt.Scale(domain=[low, high], reverse=knob.sign < 0, nice=False)


def _border(border: pd.DataFrame, x: Any, y: Any, canvas: Canvas) -> list[Any]:
    data = datasets.values(border)
    line = alt.Chart(data).mark_line(color=ink("accent"), strokeWidth=canvas.px(1.6), strokeDash=[2, 3], aria=False)
    area = alt.Chart(data).mark_area(color=ink("wash"), opacity=1, aria=False)
    middle = border.iloc[[len(border) // 2]]
    label = (
        alt.Chart(datasets.values(middle))
        .mark_text(
            text="the goal is met on this side", align="center", baseline="top", dy=canvas.px(34),
            fontSize=canvas.px(12), fontStyle="italic", color=ink("accent"), aria=False,
        )
        .encode(x=x, y=y, opacity=common.roomy(520))
    )  # fmt: skip
    return [area.encode(x=x, y=y, y2=alt.Y2Datum(0)), line.encode(x=x, y=y, order=alt.Order("x:Q")), label]


def _known(known: tuple[float, float], below: bool, x: Any, y: Any, canvas: Canvas) -> list[Any]:
    at = alt.Chart(alt.Data(values=[{"x": known[0], "y": known[1]}])).encode(x=x, y=y)
    letters = {
        "text": "known-stable", "baseline": "top" if below else "bottom",
        "dy": canvas.px(24 if below else -22), "fontSize": canvas.px(12), "fontWeight": 600,
        "aria": False,
    }  # fmt: skip
    return [
        at.mark_point(
            size=canvas.px(1500),
            shape="square",
            stroke=ink("accent"),
            strokeWidth=2.2,
            filled=False,
            opacity=1,
            aria=False,
        ),
        at.mark_text(stroke=ink("card"), strokeWidth=canvas.px(4), strokeJoin="round", opacity=0.8, **letters),
        at.mark_text(color=ink("accent"), **letters),
    ]
