"""The section of ordinary use: how the claim grew with the hours, what failed, and what the next step needs."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from surefoot.report.charts import growth as drawing
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.view import Block, Column, Section, TableCell, TableView
from surefoot.report.words import minus, number, setting_text, slug
from surefoot.runs import USE
from surefoot.search.use_choice import in_use
from surefoot.search.use_growth import Grown, growth, use_words
from surefoot.units import Conditions, Knob
from surefoot.wording import count

if TYPE_CHECKING:
    import pandas as pd


def section(material: Material) -> Section | None:
    """The claim over the hours of use, a row each time it was worked out; None where there was no use."""
    unit, goal = material.unit, material.goal
    if not in_use(material.runs).stretches:
        return None
    present = Conditions(firmware=unit.firmware, driver=unit.driver)
    grown = growth(unit, material.runs, goal, conditions=present)
    columns = (
        Column("when"), Column("certified"), Column("hours awake", True), Column("hours under load", True),
        Column("failures in use", True),
    )  # fmt: skip
    rows = tuple(
        tuple(
            TableCell(text)
            for text in (
                f"{one.at:%Y-%m-%d %H:%M}",
                setting_text(unit, one.certified),
                number(one.awake_hours, 1),
                number(one.load_hours, 1),
                str(one.failures),
            )
        )
        for one in grown
    )
    lead = " ".join(minus(words) for words in use_words(unit, material.runs, goal, conditions=present))
    caption = (
        "Only hours under load count towards the claim, and not in full: use may be milder than the bench load. A "
        "failure counts in full."
    )
    charts = tuple(_picture(material, knob, grown) for knob in unit.leaders() if _moved(material, knob, grown))
    return Section(
        "in-use", "In use", "Proved in use", lead,
        blocks=(Block(charts, drawing.LEGEND, pairs=False),) if charts else (),
        tables=(TableView(columns, rows, caption),),
    )  # fmt: skip


def _moved(material: Material, knob: Knob, grown: Sequence[Grown]) -> bool:
    """Whether the knob was ever off stock in use, or certified there."""
    lived = (run.setting.value(knob.name) for run in material.runs if run.plan.purpose == USE)
    return any(lived) or any(one.certified.value(knob.name) for one in grown)


def _picture(material: Material, knob: Knob, grown: Sequence[Grown]) -> Picture:
    import pandas as pd

    frame = pd.DataFrame(
        [
            (
                f"{one.at:%Y-%m-%dT%H:%M:%SZ}",
                one.certified.value(knob.name),
                one.awake_hours,
                one.load_hours,
                one.failures,
            )
            for one in grown
        ],
        columns=["at", "value", "awake", "load", "failures"],
    )
    first, last = (minus(knob.describe(knob.depth_of(one.certified.value(knob.name)))) for one in (grown[0], grown[-1]))
    under = f"{number(grown[-1].load_hours, 1)} h of use under load"
    failures = count(grown[-1].failures, "failure") if grown[-1].failures else "no failure"
    change = f"certified {first}, then {last}" if first != last else f"certified {last} all along"
    return Picture(
        key=f"growth-{slug(knob.name)}",
        title=f"{knob.name}: {change}, over {under}, {failures}",
        description=f"The certified value of {knob.name} over the time of use, what was lived with, what failed.",
        note="Only hours under load count; the marks on the stair say how many there were until then.",
        says=f"From {count(sum(run.plan.purpose == USE for run in material.runs), 'stretch', 'stretches')} of use.",
        draw=partial(drawing.draw, frame, _lived(material, knob), knob),
        table=frame.rename(
            columns={
                "at": "until (UTC)", "value": f"certified ({knob.unit})", "awake": "hours awake",
                "load": "hours under load", "failures": "failures in use",
            }
        ),
    )  # fmt: skip


def _lived(material: Material, knob: Knob) -> pd.DataFrame:
    import pandas as pd

    rows = [
        (
            f"{run.opened_at:%Y-%m-%dT%H:%M:%SZ}", f"{run.closed_at or run.opened_at:%Y-%m-%dT%H:%M:%SZ}",
            run.setting.value(knob.name), run.outcome.value if run.outcome else "open",
            bool(run.outcome and (run.outcome.is_crash or run.outcome.is_soft)),
        )
        for run in material.runs
        if run.plan.purpose == USE
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["begun", "ended", "value", "outcome", "failed"])
