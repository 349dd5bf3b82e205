"""The sections of the record: the conditions of each configuration, and every run."""

from __future__ import annotations

from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.picture import LegendItem
from surefoot.report.theme import OUTCOMES, ink
from surefoot.report.view import Column, Empty, Section, TableCell, TableView
from surefoot.report.words import hours, number, quoted, setting_text, span
from surefoot.runs import Run
from surefoot.wording import count


def conditions(material: Material, looks: Looks) -> Section:
    """Under what each configuration was measured."""
    title = "Conditions"
    comparison = material.comparison
    name = quoted(material.unit.name)
    if comparison is None or not comparison.configurations:
        return Section(
            "conditions", "Conditions", title,
            empty=Empty("No configuration was measured.", f"surefoot measure {name}"),
        )  # fmt: skip
    columns = (
        Column("configuration"), Column("power mode"), Column("cooling"), Column("setting"), Column("load", short=True),
        Column("firmware", short=True), Column("driver", short=True), Column("supply"), Column("room, °C", short=True),
        Column("runs"),
    )  # fmt: skip
    rows = []
    for one in comparison.configurations:
        rooms = one.ambients
        room = "–" if not rooms else number(rooms[0], 1)
        if len(rooms) > 1:
            room = f"{number(rooms[0], 1)}–{number(rooms[-1], 1)}"
        texts = (
            looks.names[one.key], one.power_mode, one.cooling, setting_text(material.unit, one.setting), one.load,
            one.firmware,
            "; ".join(one.drivers), "; ".join(one.supplies), room, str(len(one.run_ids)),
        )  # fmt: skip
        rows.append(tuple(TableCell(text or "–") for text in texts))
    return Section("conditions", "Conditions", title, about(material), tables=(TableView(columns, tuple(rows)),))


def about(material: Material) -> str:
    """When it was measured, and what the unit consists of."""
    unit = material.unit
    facts = [f"Measured {span(material.runs)}"] if material.runs else []
    facts += [f"{name}: {value}" for name, value in unit.parts.items()]
    facts += [f"{name}: {value}" for name, value in (("firmware", unit.firmware), ("driver", unit.driver)) if value]
    facts += [unit.notes.rstrip(".")] if unit.notes else []
    return " · ".join(facts) + "." if facts else ""


def runs(material: Material) -> Section:
    """Every run, oldest first."""
    title = "Every run"
    if not material.runs:
        return Section(
            "runs", "Runs", title,
            empty=Empty("No run was recorded.", f"surefoot tune {quoted(material.unit.name)}"),
        )  # fmt: skip
    columns = (
        Column("run", True), Column("begun", short=True), Column("purpose"), Column("setting"), Column("load"),
        Column("outcome"), Column("minutes", True), Column("judged by"),
    )  # fmt: skip
    rows = tuple(_row(run, material) for run in material.runs)
    total = sum(run.minutes for run in material.runs)
    lead = f"{count(len(rows), 'run')}, {hours(total)} under load."
    if material.open_runs:
        lead += f" {count(material.open_runs, 'run')} not closed yet, left out."
    return Section("runs", "Runs", title, lead, tables=(TableView(columns, rows),))


def _row(run: Run, material: Material) -> tuple[TableCell, ...]:
    outcome = run.outcome
    sign = LegendItem("", ink(OUTCOMES[outcome].color), shape=OUTCOMES[outcome].shape) if outcome else None
    return (
        TableCell(str(run.id)),
        TableCell(f"{run.opened_at:%Y-%m-%d %H:%M}"),
        TableCell(run.plan.purpose + (f", {run.plan.knob}" if run.plan.knob else "")),
        TableCell(setting_text(material.unit, run.setting)),
        TableCell(run.plan.load or "–"),
        TableCell(outcome.value if outcome else "open", sign),
        TableCell(number(run.minutes, 1)),
        TableCell(run.closing.judged_by if run.closing else ""),
    )
