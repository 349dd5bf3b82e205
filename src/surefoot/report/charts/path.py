"""The path of a search: each run's setting in order, how it ended, and how long it was held."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd

from surefoot.report.charts import parts
from surefoot.report.picture import Canvas
from surefoot.report.theme import ink
from surefoot.units import Knob


def draw(frame: pd.DataFrame, knob: Knob, known: float | None, canvas: Canvas) -> Any:
    """Chart of a knob's runs.

    ``frame``: one row a run: ``step`` (1, 2, ...), ``run``, ``value`` (signed, knob's unit), ``setting``,
    ``outcome``, ``minutes``, ``load``, ``purpose``, ``says``; ``known``: the known-stable value, or None.
    """
    colour, shape = parts.outcome_scales(frame["outcome"])
    data = parts.values(_labelled(frame))
    x = alt.X(
        "step:Q",
        title=f"run of this search, in order (area of a mark: minutes under load)",
        axis=alt.Axis(tickMinStep=1, format="d", grid=False),
        scale=alt.Scale(domain=[0.3, len(frame) + 0.7], nice=False),
    )
    y = alt.Y("value:Q", title=f"{knob.name}, {knob.unit}", scale=alt.Scale(zero=True, padding=16), axis=alt.Axis(format="+d"))
    base = alt.Chart(data).encode(x=x, y=y)
    line = base.mark_line(interpolate="monotone", strokeWidth=1.2, color=ink("line"), aria=False)
    size = alt.Size(
        "minutes:Q",
        scale=alt.Scale(type="linear", domain=[0, max(60.0, float(frame["minutes"].max()))], range=[50, 900]),
        legend=None,
    )
    marks = (
        base.mark_point(filled=True, stroke=ink("card"), strokeWidth=1, opacity=1)
        .transform_filter(parts.shown("outcome"))
        .encode(
            shape=alt.Shape("outcome:N", scale=shape, legend=parts.legend(canvas)),
            color=alt.Color("outcome:N", scale=colour, legend=parts.legend(canvas)),
            size=size,
            order=alt.Order("minutes:Q", sort="descending"),
            tooltip=_tooltips(),
        )
    )
    words = (
        base.mark_text(dy=canvas.px(-15), fontSize=canvas.px(11), color=ink("ink"), aria=False)
        .transform_filter(parts.shown("outcome"))
        .encode(text="label:N", opacity=parts.roomy(560))
    )
    layers = [line]
    if known is not None:
        layers += _known(known, knob, canvas)
    layers += [marks.add_params(parts.hidden(), parts.zoom()), words]
    return alt.layer(*layers).properties(height=canvas.height or 330)


def _labelled(frame: pd.DataFrame) -> pd.DataFrame:
    labels = frame["outcome"].where(frame["outcome"] != "held", "")
    return frame.assign(label=labels)


def _known(known: float, knob: Knob, canvas: Canvas) -> list[Any]:
    at = alt.Chart(alt.Data(values=[{"value": known}])).encode(y="value:Q")
    text = f"known-stable {known:+g} {knob.unit}" if known else "known-stable: stock"
    return [
        at.mark_rule(strokeWidth=canvas.px(1.6), strokeDash=[6, 3], color=ink("accent"), aria=False),
        at.mark_text(
            text=text, align="right", baseline="bottom", dy=-4, fontSize=canvas.px(12), fontWeight=600,
            color=ink("accent"), aria=False,
        ).encode(x=alt.value("width")),
    ]  # fmt: skip


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
