"""The section of ordinary use: how the claim grew with the hours, what failed, and what the next step needs."""

from __future__ import annotations

from surefoot.report.material import Material
from surefoot.report.view import Column, Section, TableCell, TableView
from surefoot.report.words import minus, number, setting_text
from surefoot.search.use_choice import in_use
from surefoot.search.use_growth import growth, use_words
from surefoot.units import Conditions


def section(material: Material) -> Section | None:
    """The claim over the hours of use, a row each time it was worked out; None where there was no use."""
    unit, goal = material.unit, material.goal
    if not in_use(material.runs).stretches:
        return None
    present = Conditions(firmware=unit.firmware, driver=unit.driver)
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
        for one in growth(unit, material.runs, goal, conditions=present)
    )
    lead = " ".join(minus(words) for words in use_words(unit, material.runs, goal, conditions=present))
    caption = (
        "Only hours under load count towards the claim, and not in full: use may be milder than the bench load. A "
        "failure counts in full."
    )
    return Section("in-use", "In use", "Proved in use", lead, tables=(TableView(columns, rows, caption),))
