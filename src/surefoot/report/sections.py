"""The sections of the report, in the order a reader needs them; each says what would fill it where there is nothing."""

from __future__ import annotations

from surefoot.report.chapters import answer, edges, in_use, measures, records, search, thermals, trial
from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.view import PageView, Section
from surefoot.report.words import CAUTIONS, job


def build(material: Material) -> PageView:
    """The whole page of a unit. Pure of the journal: it needs only the material."""
    told = material.own[0][0].tuned.key if material.own else None
    looks = Looks.of(material.comparison, material.unit, told)
    virtual = bool(material.runs) and all(run.plan.source == "virtual" for run in material.runs)
    lived = in_use.section(material)
    sections: tuple[Section, ...] = (
        answer.section(material, looks),
        *((lived,) if lived is not None else ()),
        search.path(material),
        search.passes(material),
        edges.section(material),
        measures.scores(material, looks),
        trial.section(material, looks),
        measures.heat(material, looks),
        thermals.limiters(material, looks),
        thermals.over_time(material, looks),
        measures.surroundings(material, looks),
        measures.everything(material, looks),
        records.conditions(material, looks),
        records.runs(material),
        Section("cautions", "Cautions", "Cautions", list=CAUTIONS),
    )
    unit = material.unit
    return PageView(
        unit=unit.name,
        title=f"{unit.name} · Surefoot report",
        sentence=job(unit, material.runs) + (" A virtual unit: rehearsal, no measurement." if virtual else ""),
        sections=sections,
        stamp=f"{unit.name}, a virtual unit · Surefoot" if virtual else f"{unit.name} · Surefoot",
        footer="Made by Surefoot from its journal. This file is whole: it fetches nothing and sends nothing.",
    )
