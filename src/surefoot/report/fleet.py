"""The page of all units: what each is known to hold, what is due, how a platform's edges are spread, what it cost."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from surefoot.pool.fleet import EdgeAmong, Fleet, FleetUnit
from surefoot.report.charts import units_cost, units_edges
from surefoot.report.picture import LegendItem, Picture
from surefoot.report.theme import ink
from surefoot.report.view import (
    Answer,
    Block,
    Column,
    Empty,
    GainGroup,
    GainView,
    PageView,
    Section,
    TableCell,
    TableView,
)
from surefoot.report.words import CAUTIONS, minus, number, slug
from surefoot.wording import count

if TYPE_CHECKING:
    import pandas as pd

MOST_NAMED = 24
"""So many units of a platform have a row and a name each in the picture; more are packed."""
MOST_BARS = 30
LANES = 12
BAND_DEVIATIONS = 1.2816
"""Eight tenths of a normal lie within so many standard deviations."""

LEGEND = (
    LegendItem(units_edges.SPREAD, ink("crash")),
    LegendItem(units_edges.EDGE, ink("crash"), shape=units_edges.EDGE_SHAPE),
    LegendItem(units_edges.CERTIFIED, ink("held"), shape=units_edges.CERTIFIED_SHAPE),
)


def write_fleet_page(found: Fleet, path: str | os.PathLike[str]) -> Path:
    """Write the page of all units as one HTML file that needs nothing else; its place. As `page.write_report`."""
    from surefoot.report.html import render
    from surefoot.report.library import Library
    from surefoot.report.page import write_page

    with Library() as library:
        return write_page(render(build(found), library), path)


def build(found: Fleet) -> PageView:
    """The whole page. Pure of the journal."""
    virtual = bool(found.units) and all(one.virtual for one in found.units)
    sections = (
        _answer(found),
        _units(found),
        _due(found),
        _edges(found),
        _cost(found),
        Section("cautions", "Cautions", "Cautions", list=CAUTIONS),
    )
    said = "Every unit of the journal at one look: what holds, what is due, how far each goes among its like."
    return PageView(
        unit="All units",
        title="All units · Surefoot",
        sentence=said + (" Virtual units: rehearsal, no measurement." if virtual else ""),
        sections=sections,
        stamp="all units, virtual · Surefoot" if virtual else "all units · Surefoot",
        footer="Made by Surefoot from its journal. This file is whole: it fetches nothing and sends nothing.",
        about="all units",
    )


def _answer(found: Fleet) -> Section:
    total = len(found.units)
    words = [
        f"{found.known} of {count(total, 'unit')} "
        f"{'has' if found.known == 1 else 'have'} a setting that is known to hold."
    ]
    words.append(
        f"For {found.due} of them something is due; it stands below." if found.due else "For none is anything due."
    )
    use = f"{number(found.use_hours, 1)} h of it in use" if found.use_hours else "none of it in use"
    figures = (
        GainView("under load", f"{number(found.hours, 1)} h", use),
        GainView("crashes", str(found.crashes), f"in {count(sum(one.runs for one in found.units), 'run')}"),
        GainView("due", str(found.due), f"of {count(total, 'unit')}"),
    )
    return Section(
        "answer", "At one look", "At one look",
        answer=Answer(
            (f"{found.known} of {total} known-stable",), tuple(words),
            (GainGroup("What it took", "All runs of all units.", figures),) if total else (),
        ),
        empty=None if total else Empty("There are no units yet.", "surefoot unit add"),
    )  # fmt: skip


def _units(found: Fleet) -> Section:
    title = "Every unit"
    if not found.units:
        return Section("units", "Units", title, empty=Empty("There are no units yet.", "surefoot unit add"))
    columns = (
        Column("unit"), Column("parts"), Column("known-stable"), Column("hours between failures, at least", True),
        Column("hours under load", True), Column("in use", True), Column("crashes", True), Column("runs", True),
        Column("due", True),
    )  # fmt: skip
    rows = tuple(
        tuple(
            TableCell(text)
            for text in (
                one.unit,
                one.parts or "–",
                minus(one.setting) or "nothing yet",
                "–" if one.mttf_hours is None else number(one.mttf_hours, 0),
                number(one.hours, 1),
                number(one.use_hours, 1),
                str(one.crashes),
                str(one.runs),
                str(len(one.due)) if one.due else "–",
            )
        )
        for one in found.units
    )
    lead = "A setting is one unit's own: it is not to be copied to another of the same kind."
    return Section("units", "Units", title, lead, tables=(TableView(columns, rows),))


def _due(found: Fleet) -> Section:
    title = "What is due, and what to know"
    said: dict[tuple[bool, str], list[str]] = {}
    for one in found.units:
        for text in dict.fromkeys((*one.due, *one.changed)):
            said.setdefault((text not in one.due, text), []).append(one.unit)
    if not said:
        return Section("due", "Due", title, "Nothing is due, and nothing is known to have changed.")
    columns = (Column("what"), Column("kind", short=True), Column("units"))
    rows = tuple(
        (TableCell(minus(text)), TableCell("to know" if known else "due"), TableCell(_names(names)))
        for (known, text), names in sorted(said.items(), key=lambda pair: pair[0][0])
    )
    lead = "Due: asks for something to be done. To know: what has changed since, and what was never tried."
    return Section("due", "Due", title, lead, tables=(TableView(columns, rows),))


def _names(names: Sequence[str]) -> str:
    if len(names) <= MOST_NAMED:
        return ", ".join(names)
    return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"


def _edges(found: Fleet) -> Section:
    title = "How far units of a platform go"
    groups: dict[tuple[str, str, str], list[tuple[FleetUnit, EdgeAmong]]] = {}
    for one in found.units:
        for edge in one.edges:
            groups.setdefault((edge.platform, edge.knob, edge.measure), []).append((one, edge))
    if not groups:
        return Section(
            "edges", "Edges", title,
            empty=Empty("No unit has shown where its edge lies: nothing failed yet.", "surefoot tune UNIT"),
        )  # fmt: skip
    charts = tuple(_picture(key, members) for key, members in sorted(groups.items()))
    lead = (
        "The edge is the depth at which one hour of load passes between failures, by each unit's own runs. A unit is "
        "in a picture once something failed on it; before that its edge is only somewhere deeper."
    )
    return Section("edges", "Edges", title, lead, blocks=(Block(charts, LEGEND, pairs=False),))


def _picture(key: tuple[str, str, str], members: Sequence[tuple[FleetUnit, EdgeAmong]]) -> Picture:
    import pandas as pd

    platform, knob, measure = key
    ordered = sorted(members, key=lambda pair: (pair[1].depth, pair[0].unit))
    named = len(ordered) <= MOST_NAMED
    units = pd.DataFrame(
        [
            {
                "unit": one.unit,
                "edge": edge.value(edge.depth),
                "low": edge.value(edge.likely_low),
                "high": edge.value(edge.likely_high),
                "certified": math.nan if edge.certified is None else edge.value(edge.certified),
                "failures": edge.failures,
                "row": at if named else at % LANES,
                "edge_text": minus(f"{edge.value(round(edge.depth)):+g} {measure}"),
                "likely_text": _span(edge),
                "certified_text": "nothing yet" if edge.certified is None else _value(edge, edge.certified),
            }
            for at, (one, edge) in enumerate(ordered)
        ]
    )
    depths = [edge.depth for _, edge in ordered]
    low, middle, high = min(depths), float(np.median(depths)), max(depths)
    first = ordered[0][1]
    if len(ordered) == 1:
        statement = f"{platform}, {knob}: the only unit's edge lies near {_value(first, low)}"
    else:
        statement = (
            f"{platform}, {knob}: edges of {len(ordered)} units from {_value(first, low)} to {_value(first, high)}, "
            f"the middle one at {_value(first, middle)}"
        )
    table = units[["unit", "edge", "low", "high", "certified", "failures"]].rename(
        columns={
            "edge": f"edge ({measure})", "low": f"likely from ({measure})", "high": f"likely to ({measure})",
            "certified": f"known-stable ({measure})",
        }
    )  # fmt: skip
    return Picture(
        key=f"edges-{slug(platform)}-{slug(knob)}",
        title=statement,
        description=f"{knob} of {count(len(ordered), 'unit')} of {platform}: each one's edge and known-stable value.",
        note="Hill: all edges together, each as uncertain as its runs leave it."
        + ("" if named else " Each mark is a unit; point at it, or see the numbers."),
        says=f"From {count(len(ordered), 'unit')} on which something failed.",
        draw=partial(
            units_edges.draw, _hill([edge for _, edge in ordered]), units,
            f"{knob}, {measure} (deeper to the right)", first.toward == "down", named,
        ),
        table=table,
    )  # fmt: skip


def _value(edge: EdgeAmong, depth: float) -> str:
    return minus(f"{edge.value(round(depth)):+g} {edge.measure}") if round(depth) else "stock"


def _span(edge: EdgeAmong) -> str:
    return f"{_value(edge, edge.likely_low)} to {_value(edge, edge.likely_high)}"


def _hill(edges: Sequence[EdgeAmong]) -> pd.DataFrame:
    """The density of all edges together: each a normal with the width of its own band, shares of the peak."""
    import pandas as pd

    widths = [max((edge.likely_high - edge.likely_low) / (2.0 * BAND_DEVIATIONS), 1e-6) for edge in edges]
    # No narrower than a hundredth of what is shown: a hill of needles says less than their marks.
    reach = max(edge.likely_high for edge in edges)
    widths = [max(width, 0.01 * max(reach, 1e-6)) for width in widths]
    low = max(min(edge.depth - 3 * width for edge, width in zip(edges, widths, strict=True)), 0.0)
    high = max(edge.depth + 3 * width for edge, width in zip(edges, widths, strict=True))
    depths = np.linspace(low, high, 161)
    density = np.zeros_like(depths)
    for edge, width in zip(edges, widths, strict=True):
        density += np.exp(-0.5 * ((depths - edge.depth) / width) ** 2) / width
    values = [edges[0].value(float(depth)) for depth in depths]
    return pd.DataFrame({"value": values, "density": density / max(float(density.max()), 1e-300)})


def _cost(found: Fleet) -> Section:
    title = "What it took"
    worked = [one for one in found.units if one.hours > 0]
    if not worked:
        return Section("cost", "Hours", title, empty=Empty("Nothing was run yet.", "surefoot tune UNIT"))
    worked.sort(key=lambda one: (-one.hours, one.unit))
    shown = worked[:MOST_BARS]
    lead = f"{count(len(worked), 'unit')} with runs" + (
        f"; the {MOST_BARS} with most hours are drawn." if len(worked) > MOST_BARS else "."
    )
    return Section("cost", "Hours", title, lead, blocks=(Block((_bars(shown),), units_cost.LEGEND, pairs=False),))


def _bars(shown: Sequence[FleetUnit]) -> Picture:
    import pandas as pd

    rows = []
    for one in shown:
        bench = one.hours - one.use_hours
        said = f"{number(one.hours, 1)} h, {count(one.crashes, 'crash', 'crashes')}"
        rows.append((one.unit, units_cost.BENCH, 0.0, bench, bench, one.crashes - one.use_crashes, said))
        if one.use_hours > 0:
            rows.append((one.unit, units_cost.USE, bench, one.hours, one.use_hours, one.use_crashes, ""))
    frame = pd.DataFrame(rows, columns=["unit", "where", "start", "end", "hours", "crashes", "text"])
    hours = number(sum(one.hours for one in shown), 1)
    crashes = count(sum(one.crashes for one in shown), "crash", "crashes")
    table = pd.DataFrame(
        [(one.unit, one.hours - one.use_hours, one.use_hours, one.crashes, one.runs) for one in shown],
        columns=["unit", "hours on the bench", "hours in use", "crashes", "runs"],
    )
    return Picture(
        key="hours-by-unit",
        title=f"{hours} h under load and {crashes} on {count(len(shown), 'unit')}",
        description="Hours under load of each unit, on the bench and in use, with its crashes.",
        says=f"From {count(sum(one.runs for one in shown), 'run')}.",
        draw=partial(units_cost.draw, frame, [one.unit for one in shown]),
        table=table,
    )
