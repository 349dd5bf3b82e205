"""The section of the trial: how it was taken, and every value against the order in which it was measured."""

from __future__ import annotations

from functools import partial

from surefoot.report.charts import common, order
from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.view import Block, Empty, Section
from surefoot.report.words import quoted, slug
from surefoot.scores.comparison import Row
from surefoot.wording import count

MOST_CHARTS = 4


def section(material: Material, looks: Looks) -> Section:
    """Value against order and block, for the scores; the design and what was not randomised in words."""
    comparison = material.comparison
    title = "How it was compared"
    charts: tuple[Picture, ...] = ()
    if comparison is not None:
        rows = [row for row in comparison.rows if row.metric.group in ("score", "frames") and _placed(row)]
        charts = tuple(_picture(row, looks) for row in rows[:MOST_CHARTS])
    if comparison is None or not charts:
        command = f"surefoot trial {quoted(material.unit.name)} --of stock --of known-stable --to-see 2%"
        return Section("trial", "Trial", title, empty=Empty("No configurations were measured in turns.", command))
    lead = " ".join(dict.fromkeys((*material.designs, *comparison.taken)))
    return Section("trial", "Trial", title, lead, blocks=(Block(charts),))


def _placed(row: Row) -> bool:
    return any(place is not None for cell in row.cells for place in cell.places)


def _picture(row: Row, looks: Looks) -> Picture:
    import pandas as pd

    metric = row.metric
    values = [
        (at, looks.names[cell.configuration], value, run_id, place)
        for cell in row.cells
        for at, value, run_id, place in zip(cell.order, cell.values, cell.run_ids, cell.places, strict=True)
        if at is not None
    ]
    values.sort(key=lambda one: one[0])
    frame = pd.DataFrame([
        {
            "order": number,
            "configuration": name,
            "value": value,
            "run": f"run {run_id}",
            "block": f"block {place[1]} of trial {place[0]}" if place else "in no block",
        }
        for number, (_, name, value, run_id, place) in enumerate(values, 1)
    ])  # fmt: skip
    shown = [name for name in looks.by_name if name in set(frame["configuration"])]
    axis = f"{metric.label}, {metric.unit}" if metric.unit else metric.label
    blocks = frame.loc[frame["block"] != "in no block", "block"].nunique()
    return Picture(
        key=f"order-{slug(metric.name)}",
        title=f"{metric.label[:1].upper()}{metric.label[1:]} in the order it was measured",
        description=f"{axis}, {count(len(frame), 'run')} in the order they were made, {count(blocks, 'block')}.",
        note="Shaded and unshaded in turn: the blocks of a trial, every configuration once in each, in an order drawn.",
        says=f"Each mark is one of {count(len(frame), 'run')}; a drift moves all marks of a block alike.",
        draw=partial(order.draw, frame, {name: looks.by_name[name] for name in shown}, axis),
        table=frame,
        legend=common.series_legend(shown, [looks.by_name[name] for name in shown]),
    )
