"""The sections of the search: its path, and pass and fail over two knobs."""

from __future__ import annotations

from collections import defaultdict
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from surefoot.report.charts import common, passfail
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.view import Block, Empty, Section
from surefoot.report.words import hours, quoted, search_title, setting_text, slug
from surefoot.runs import Run
from surefoot.units import Knob
from surefoot.wording import count, listed

if TYPE_CHECKING:
    import pandas as pd


def path_frame(material: Material, knob: Knob) -> pd.DataFrame:
    """One row a run of a knob's search, oldest first."""
    import pandas as pd

    rows = []
    for step, run in enumerate(material.runs_of(knob.name), 1):
        if run.outcome is None:
            continue
        rows.append({
            "step": step,
            "run": run.id,
            "value": run.setting.value(knob.name),
            "setting": setting_text(material.unit, run.setting),
            "outcome": run.outcome.value,
            "says": run.outcome.says,
            "minutes": round(run.minutes, 2),
            "load": run.plan.load,
            "purpose": run.plan.purpose,
            "day": f"{run.opened_at:%Y-%m-%d %H:%M}",
        })  # fmt: skip
    return pd.DataFrame(rows)


def path(material: Material) -> Section:
    """The path of the search, a chart for each knob."""
    charts = []
    for knob in material.unit.leaders():
        frame = path_frame(material, knob)
        if frame.empty:
            continue
        known = material.known.setting.value(knob.name) if material.known else None
        runs = [run for run in material.runs_of(knob.name) if run.outcome is not None]
        charts.append(_path_chart(frame, knob, known, runs))
    title = "The path of the search"
    if not charts:
        return Section(
            "search", "Search", title,
            empty=Empty("No run of a search was recorded.", f"surefoot tune {quoted(material.unit.name)}"),
        )  # fmt: skip
    searched = [run for run in material.runs if run.plan.knob or run.plan.purpose == "joint"]
    failures = sum(run.outcome is not None and (run.outcome.is_crash or run.outcome.is_soft) for run in searched)
    lead = (
        f"{count(len(searched), 'run')}, {hours(sum(run.minutes for run in searched))} under load, "
        f"{count(failures, 'failure')}. Each mark is a run: its place is the setting, its shape and word how it "
        "ended, its area "
        "how long it was held."
    )
    return Section("search", "Search", title, lead, blocks=(Block(tuple(charts), pairs=False),))


def _path_chart(frame: pd.DataFrame, knob: Knob, known: float | None, runs: list[Run]) -> Picture:
    from surefoot.report.charts.path import draw

    told = [(knob.depth_of(run.setting.value(knob.name)), run.outcome, run.minutes) for run in runs if run.outcome]
    outcomes = frame["outcome"].value_counts()
    ended = listed([f"{number} {name}" for name, number in outcomes.items()])
    table = frame[["run", "day", "setting", "outcome", "minutes", "load", "purpose"]]
    return Picture(
        key=f"search-path-{slug(knob.name)}",
        title=search_title(knob, told, known),
        description=f"Search path of {knob.name}: setting by run in order. {count(len(frame), 'run')}: {ended}.",
        draw=partial(draw, frame, knob, known),
        table=table,
        data=frame,
        legend=common.outcome_legend(frame["outcome"]),
        says=f"{count(len(frame), 'run')}, in order; the area of a mark is how long the run was held.",
        zooms=True,
    )


def passes(material: Material) -> Section:
    """Pass and fail over two knobs, for each pair that was moved."""
    title = "Pass and fail over two knobs"
    leaders = material.unit.leaders()
    name = quoted(material.unit.name)
    if len(leaders) < 2:
        return Section(
            "passes", "Pass and fail", title,
            empty=Empty("The card has fewer than two knobs that are searched.", f"surefoot unit edit {name}"),
        )  # fmt: skip
    charts = []
    for across, up in _pairs(leaders):
        frame = _pass_frame(material, across, up)
        moved = [bool((frame[axis] != 0).any()) if len(frame) else False for axis in ("x", "y")]
        if all(moved):
            charts.append(_pass_chart(material, frame, across, up))
    if not charts:
        return Section(
            "passes", "Pass and fail", title,
            empty=Empty("No two knobs were moved yet.", f"surefoot tune {name}"),
        )  # fmt: skip
    return Section(
        "passes", "Pass and fail", title,
        "Every setting that was tried, over two knobs at once. A joint run moves both; hazards add, so the "
        "border of the goal "
        "is nearer to stock where both are deep.",
        blocks=(Block(tuple(charts), pairs=len(charts) > 1),),
    )  # fmt: skip


def _pairs(leaders: tuple[Knob, ...]) -> list[tuple[Knob, Knob]]:
    """Voltage across and clock up first; then whatever else is there, at most three."""
    ordered = sorted(leaders, key=lambda knob: (not knob.is_voltage, not knob.is_clock))
    pairs = [(one, other) for place, one in enumerate(ordered) for other in ordered[place + 1 :]]
    return sorted(pairs, key=lambda pair: not (pair[0].is_voltage and pair[1].is_clock))[:3]


def _pass_frame(material: Material, across: Knob, up: Knob) -> pd.DataFrame:
    import pandas as pd

    groups: dict[tuple[float, float, str], list[Run]] = defaultdict(list)
    for run in material.runs:
        others = set(run.setting.values) - {across.name, up.name}
        others -= {follower.name for knob in (across, up) for follower in material.unit.followers(knob.name)}
        if run.outcome is None or others:
            continue
        groups[run.setting.value(across.name), run.setting.value(up.name), run.outcome.value].append(run)
    return pd.DataFrame(
        [
            {
                "x": x,
                "y": y,
                "setting": setting_text(material.unit, runs[0].setting),
                "outcome": outcome,
                "runs": len(runs),
                "minutes": round(sum(run.minutes for run in runs), 2),
            }
            for (x, y, outcome), runs in groups.items()
        ]
    )


def _border(material: Material, across: Knob, up: Knob) -> pd.DataFrame | None:
    """Where the hazards of both knobs together just meet the goal, by each knob's own lower bound."""
    import pandas as pd

    first, second = material.edges.get(across.name), material.edges.get(up.name)
    if first is None or second is None:
        return None
    allowed = 1.0 / material.goal.mttf_hours
    points = []
    for depth, hazard in zip(first.depths, 1.0 / first.mttf_low, strict=True):
        meets = np.flatnonzero(hazard + 1.0 / second.mttf_low <= allowed)
        if len(meets):
            points.append({"x": across.value_at(float(depth)), "y": up.value_at(float(second.depths[meets[-1]]))})
    return pd.DataFrame(points) if len(points) > 1 else None


def _pass_chart(material: Material, frame: pd.DataFrame, across: Knob, up: Knob) -> Picture:
    known = None
    if material.known:
        setting = material.known.setting
        known = (setting.value(across.name), setting.value(up.name))
    held = int(frame.loc[frame["outcome"] == "held", "runs"].sum())
    failed = int(frame.loc[~frame["outcome"].isin(["held", "void", "overheat"]), "runs"].sum())
    border = _border(material, across, up)
    note = ""
    if border is not None:
        note = (
            f"Shaded: where the runs so far bear {material.goal.mttf_hours:g} h of load between failures at "
            f"{material.goal.confidence:.0%} confidence, the hazards of both knobs added."
        )
    table = frame.rename(columns={"x": f"{across.name} ({across.unit})", "y": f"{up.name} ({up.unit})"})
    return Picture(
        key=f"pass-fail-{slug(across.name)}-{slug(up.name)}",
        title=f"{across.name} and {up.name}: {held} runs held, {failed} failed",
        description=f"Runs over {across.name} and {up.name}: {held} held, {failed} failed.",
        note=note,
        draw=partial(passfail.draw, frame, across, up, border, known),
        table=table.drop(columns=["setting"]),
        data=frame,
        legend=common.outcome_legend(frame["outcome"]),
    )
