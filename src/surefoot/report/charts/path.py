"""The path of a search: each run's setting in order, how it ended, and how long it was held."""

from __future__ import annotations

import json
from typing import Any

import altair as alt
import pandas as pd

from surefoot.report import datasets
from surefoot.report.charts import common
from surefoot.report.charts.room import Place, roomiest
from surefoot.report.picture import Canvas
from surefoot.report.theme import ink
from surefoot.report.words import minus
from surefoot.units import Knob

NARROW = 400
LABEL = (0.36, 0.075)
"""Share of the chart that the label of the known-stable line takes, where it is narrowest."""
MARK = (0.03, 0.03)


def draw(frame: pd.DataFrame, knob: Knob, known: float | None, canvas: Canvas) -> Any:
    """Chart of a knob's runs.

    ``frame``: one row a run: ``step`` (1, 2, ...), ``run``, ``value`` (signed, knob's unit), ``setting``,
    ``outcome``, ``minutes``, ``load``, ``purpose``, ``says``; ``known``: the known-stable value, or None.
    """
    colour, shape = common.outcome_scales(frame["outcome"])
    data = datasets.values(_labelled(frame))
    steps = (0.2, len(frame) + max(0.9, 0.035 * len(frame)))
    x = alt.X(
        "step:Q",
        title="run of this search, in order",
        axis=alt.Axis(tickMinStep=1, format="d", grid=False),
        scale=alt.Scale(domain=list(steps), nice=False),
    )
    reach = max(float(frame["value"].abs().max()), knob.step)
    domain = sorted((-0.13 * reach * knob.sign, 1.13 * reach * knob.sign))
    y = alt.Y(
        "value:Q",
        title=f"{knob.name}, {knob.unit}",
        scale=alt.Scale(domain=domain, nice=False),
        axis=alt.Axis(labelExpr=common.STOCK_OR_OFFSET, tickCount=7),
    )
    base = alt.Chart(data).encode(x=x, y=y)
    line = base.mark_line(strokeWidth=1.2, color=ink("line"), aria=False)
    size = alt.Size(
        "minutes:Q",
        scale=alt.Scale(type="linear", domain=[0, max(60.0, float(frame["minutes"].max()))], range=[75, 900]),
        legend=None,
    )
    marks = (
        base.mark_point(filled=True, stroke=ink("card"), strokeWidth=1, opacity=1)
        .transform_filter(common.shown("outcome"))
        .encode(
            shape=alt.Shape("outcome:N", scale=shape, legend=common.legend(canvas)),
            color=alt.Color("outcome:N", scale=colour, legend=common.legend(canvas)),
            size=size,
            order=alt.Order("minutes:Q", sort="descending"),
            tooltip=_tooltips(),
        )
    )
    words = [
        base.mark_text(dy=canvas.px(-14 if above else 15), fontSize=canvas.px(11), color=ink("ink"), aria=False)
        .transform_filter(f"{common.shown('outcome')} && datum.label && {'' if above else '!'}datum.above")
        .encode(text=alt.Text("label:N"), opacity=common.roomy(560))
        for above in (True, False)
    ]
    layers = [line]
    if known is not None:
        place = _place(frame, known, steps, (domain[0], domain[1]))
        layers += _known(known, knob, place, canvas)
    layers += [marks.add_params(common.hidden(), common.zoom()), *words]
    return alt.layer(*layers, height=canvas.height or 330)


def _labelled(frame: pd.DataFrame) -> pd.DataFrame:
    """With the word of each failure, and whether it stands above or below its mark, so that neighbours part."""
    labels, aboves = [], []
    above, last = True, -9
    for step, outcome in zip(frame["step"], frame["outcome"], strict=True):
        if outcome != "held":
            above = not above if step - last <= 2 else True
            last = step
        labels.append("" if outcome == "held" else outcome)
        aboves.append(above)
    return frame.assign(label=labels, above=aboves)


def _place(frame: pd.DataFrame, known: float, steps: tuple[float, float], values: tuple[float, float]) -> Place:
    """Where the label of the known-stable line is clear of the path."""
    level = (known - values[0]) / (values[1] - values[0])
    places = [
        Place(left, left + LABEL[0], level + low, level + high, align, baseline)
        for baseline, low, high in (("bottom", 0.0, LABEL[1]), ("top", -LABEL[1], 0.0))
        for align, left in (("left", 0.0), ("right", 1.0 - LABEL[0]), ("center", 0.5 - LABEL[0] / 2))
    ]
    across = (frame["step"].to_numpy(dtype=float) - steps[0]) / (steps[1] - steps[0])
    up = (frame["value"].to_numpy(dtype=float) - values[0]) / (values[1] - values[0])
    return roomiest(places, across, up, around=MARK)


def _known(known: float, knob: Knob, place: Place, canvas: Canvas) -> list[Any]:
    at = alt.Chart(alt.Data(values=[{"value": known}])).encode(y=alt.Y("value:Q"))
    text = minus(f"known-stable {known:+g} {knob.unit}") if known else "known-stable: stock"
    letters = {
        # Where there is little room the title above says the value.
        "text": alt.ExprRef(f"width < {NARROW} ? 'known-stable' : {json.dumps(text)}"),
        "align": place.align, "baseline": place.baseline, "dx": {"left": 6, "right": -6}.get(place.align, 0),
        "dy": -4 if place.baseline == "bottom" else 6, "fontSize": canvas.px(12), "fontWeight": 600, "aria": False,
    }  # fmt: skip
    ends = {"left": 0, "right": "width"}
    placed = at.encode(x=alt.XValue(ends.get(place.align, alt.ExprRef("width / 2"))))
    return [
        at.mark_rule(strokeWidth=canvas.px(1.6), strokeDash=[6, 3], color=ink("accent"), aria=False),
        placed.mark_text(stroke=ink("card"), strokeWidth=canvas.px(4), strokeJoin="round", **letters),
        placed.mark_text(color=ink("accent"), **letters),
    ]


def _tooltips() -> list[Any]:
    return [
        alt.Tooltip("run:N", title="run"),
        alt.Tooltip("setting:N", title="setting"),
        alt.Tooltip("outcome:N", title="outcome"),
        alt.Tooltip("says:N", title="that is"),
        alt.Tooltip("minutes:Q", title="minutes under load", format=".3~g"),
        alt.Tooltip("load:N", title="load"),
        alt.Tooltip("purpose:N", title="purpose"),
    ]
