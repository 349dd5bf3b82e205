"""The first section: what holds, how sure that is, and what it brought."""

from __future__ import annotations

import math

from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.view import Answer, Column, Empty, GainGroup, GainView, Section, TableCell, TableView
from surefoot.report.words import (
    gain_text,
    minus,
    number,
    quoted,
    setting_parts,
    signed,
    verdict_in_brief,
    why_not_shown,
)
from surefoot.scores.comparison import REAL, Cell, Comparison, Row
from surefoot.scores.own_share import differences
from surefoot.search import KnownStable
from surefoot.units import Setting, Unit
from surefoot.wording import listed

MOST_GAINS = 4


def section(material: Material, looks: Looks) -> Section:
    """The known-stable setting with its certificate in words, and the gains in figures."""
    name = material.unit.name
    gains = _gains(material, looks)
    known = material.known
    if known is None:
        if not material.runs:
            words: tuple[str, ...] = ("Nothing is known of this unit yet.",)
        else:
            assessment = material.assessment
            words = (minus(assessment.claim), *map(minus, assessment.contradictions)) if assessment else ()
        return Section(
            "answer", "What holds", "Known-stable setting",
            answer=Answer(("nothing certified yet",), words, gains),
            empty=Empty("Runs under load that held.", f"surefoot tune {quoted(name)}"),
        )  # fmt: skip
    return Section("answer", "What holds", "Known-stable setting", answer=_answer(material, looks, known, gains))


def _answer(material: Material, looks: Looks, known: KnownStable, gains: tuple[GainGroup, ...]) -> Answer:
    unit = material.unit
    leaders = {knob.name for knob in unit.leaders()}
    lead = Setting(values={name: value for name, value in known.setting.values.items() if name in leaders})
    units = {knob.name: knob.unit for knob in unit.knobs}
    linked = [
        f"{name} {value:+g} {units.get(name, '')}".rstrip()
        for name, value in known.setting.values.items()
        if name not in leaders
    ]
    words = [minus(known.says), *(minus(text) for text in known.basis)]
    if material.assessment is not None:
        words += [minus(text) for text in material.assessment.contradictions]
    small = [_under(material)]
    if known.needs_joint_run:
        small.append("The knobs were never held together: a joint run is still owed.")
    if not known.transition_tried:
        small.append("No load that goes from idle to full and back was held at it; some settings fail only there.")
    return Answer(
        tuple(setting_parts(unit, lead)),
        tuple(words),
        gains,
        aside=minus(f"Moved along with their leader: {listed(linked)}.") if linked else "",
        small=tuple(small),
        table=_certificates(unit, known),
    )


def _certificates(unit: Unit, known: KnownStable) -> TableView | None:
    """A row a knob: the claim and what it rests on."""
    if not known.certificates:
        return None
    columns = (
        Column("knob"), Column("setting", True), Column("hours between failures, at least", True),
        Column("hours under load", True), Column("failures", True), Column("edge", True), Column("guard band", True),
    )  # fmt: skip
    rows = []
    for name, claim in known.certificates.items():
        knob = unit.knob(name)
        has_edge = math.isfinite(claim.edge_depth)
        texts = (
            name, minus(knob.describe(claim.depth)), known.at_least[name], number(claim.hours, 1),
            str(claim.failures),
            minus(knob.describe(round(claim.edge_depth))) if has_edge else "–",
            f"{claim.guard_band:.3g} {knob.unit}" if has_edge else "–",
        )  # fmt: skip
        rows.append(tuple(TableCell(text) for text in texts))
    caption = (
        f"Each knob by itself, at {known.confidence:.0%} confidence. Hours under load: there or deeper; "
        "failures: there or "
        "shallower; edge: one hour between failures."
    )
    return TableView(columns, tuple(rows), caption)


def _under(material: Material) -> str:
    known = material.known
    if known is None:
        return ""
    conditions = known.conditions
    facts = [
        f"{label} {value}"
        for label, value in (
            ("firmware", conditions.firmware),
            ("driver", conditions.driver),
            ("power mode", conditions.power_mode),
            ("cooling", conditions.cooling),
        )
        if value
    ]
    if conditions.ambient_celsius is not None:
        facts.append(f"a room of {number(conditions.ambient_celsius, 1)} °C")
    last = known.last_at
    loads = f", under {listed(list(known.loads))}" if known.loads else ""
    under = f" Conditions: {', '.join(facts)}." if facts else ""
    return f"Last confirmed on {last.day} {last:%B %Y}{loads}.{under}"


def _gains(material: Material, looks: Looks) -> tuple[GainGroup, ...]:
    """What the known-stable setting brought by itself, and then what it came to with all that changed besides."""
    comparison, known = material.comparison, material.known
    if comparison is None or known is None or known.setting.is_stock:
        return ()
    if not material.own:
        command = f"surefoot measure {quoted(material.unit.name)} --known-stable"
        return (GainGroup("What the setting brought", f"Not measured yet at this setting and at stock: `{command}`."),)
    groups = []
    for pair, compared in material.own:
        tuned, stock = looks.names[pair.tuned.key], looks.names[pair.stock.key]
        also = "nothing else differs" if pair.alone else f"besides the setting: {listed(pair.also)}"
        title = "What the setting brought by itself" if pair.alone else "With the setting, and more that changed"
        load = f", under {pair.tuned.load}" if len(material.own) > 1 else ""
        figures, unsure = _figures(compared, pair.tuned.key)
        groups.append(GainGroup(title, f"“{tuned}” against “{stock}”{load}; {also}. {unsure}".rstrip(), figures))
    pair, since = material.own[0][0], material.since
    if since is not None:
        base = since.configuration(since.baseline)
        also = listed((*differences(pair.tuned, base), *(() if base.setting.is_stock else ("the setting it had",))))
        figures, unsure = _figures(since, pair.tuned.key)
        told = (
            f"“{looks.names[pair.tuned.key]}” against “{looks.names[base.key]}”; besides the setting: {also}. {unsure}"
        )
        groups.append(GainGroup("With all that changed since", told.rstrip(), figures))
    return tuple(groups)


def _figures(comparison: Comparison, key: str) -> tuple[tuple[GainView, ...], str]:
    """The figures of a configuration against the comparison's baseline, real differences first; and what keeps others
    from being shown, in words."""
    made = []
    for row in comparison.rows:
        cell = next((one for one in row.cells if one.configuration == key), None)
        if cell is not None and cell.gain is not None and _worth_a_place(row):
            made.append((row, cell))
    made.sort(key=lambda pair: pair[1].verdict not in REAL)
    shown = made[:MOST_GAINS]
    return tuple(_gain(row, cell) for row, cell in shown), why_not_shown(cell for _, cell in shown)


def _worth_a_place(row: Row) -> bool:
    metric = row.metric
    if metric.group in ("score", "frames", "sound"):
        return not metric.name.endswith(("stutter", "hitches"))
    if metric.group == "temperature":
        return metric.name.count(".") == 1 and " " not in metric.name
    return metric.group == "surface"


def _gain(row: Row, cell: Cell) -> GainView:
    gain = cell.gain
    assert gain is not None
    sure = verdict_in_brief(cell)
    if math.isfinite(gain.percent) and math.isfinite(gain.low_percent):
        between = f"{signed(gain.low_percent, 1)} to {signed(gain.high_percent, 1)} %; "
    elif math.isfinite(gain.low):
        between = (
            f"{signed(gain.low, row.metric.decimals)} to {signed(gain.high, row.metric.decimals)} {row.metric.unit}; "
        )
    else:
        between = ""
    return GainView(row.metric.label, gain_text(row, cell), between + sure)
