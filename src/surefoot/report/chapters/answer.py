"""The first section: what holds, how sure that is, and what it brought."""

from __future__ import annotations

import math

from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.view import Answer, Column, Empty, GainView, Section, TableCell, TableView
from surefoot.report.words import certificate, count, gain_text, listed, minus, number, quoted, setting_parts, signed
from surefoot.scores.comparison import REAL, VERDICT_SAYS, Cell, Row
from surefoot.search import KnownStable
from surefoot.units import Setting, Unit

MOST_GAINS = 6


def section(material: Material, looks: Looks) -> Section:
    """The known-stable setting with its certificate in words, and the gains in figures."""
    name = material.unit.name
    gains = _gains(material)
    known = material.known
    if known is None:
        if not material.runs:
            words: tuple[str, ...] = ("Nothing is known of this unit yet.",)
        else:
            words = (
                "No setting is certified for the goal yet: the runs so far do not show an MTTF of at least "
                f"{material.goal.mttf_hours:g} h of load at {material.goal.confidence:.0%} confidence at any setting.",
            )
        return Section(
            "answer", "What holds", "Known-stable setting",
            answer=Answer(("nothing certified yet",), words, gains, _against(material, looks)),
            empty=Empty("Runs under load that held.", f"surefoot tune {quoted(name)}"),
        )  # fmt: skip
    return Section("answer", "What holds", "Known-stable setting", answer=_answer(material, looks, known, gains))


def _answer(material: Material, looks: Looks, known: KnownStable, gains: tuple[GainView, ...]) -> Answer:
    unit = material.unit
    leaders = {knob.name for knob in unit.leaders()}
    lead = Setting(values={name: value for name, value in known.setting.values.items() if name in leaders})
    units = {knob.name: knob.unit for knob in unit.knobs}
    linked = [
        f"{name} {value:+g} {units.get(name, '')}".rstrip()
        for name, value in known.setting.values.items()
        if name not in leaders
    ]
    bound = known.joint.mttf_hours if known.joint else known.mttf_hours
    words = [
        f"At {known.confidence:.0%} confidence this unit lasts at least {number(bound, 0)} hours of load "
        f"between failures at this setting; the goal is {material.goal.mttf_hours:g} h."
    ]
    if known.joint is not None:
        failed = count(known.joint.failures, "failure") if known.joint.failures else "no failure"
        words.append(
            f"All knobs were held together for {number(known.joint.hours, 1)} h, with {failed} at this or less."
        )
    else:
        words += [certificate(unit.knob(name), claim) for name, claim in known.certificates.items()][:1]
    small = [_under(material)]
    if known.needs_joint_run:
        small.append("The knobs were never held together: a joint run is still owed.")
    if not known.transition_tried:
        small.append("No load that goes from idle to full and back was held at it; some settings fail only there.")
    return Answer(
        tuple(setting_parts(unit, lead)),
        tuple(words),
        gains,
        _against(material, looks),
        aside=minus(f"Moved along with their leader: {listed(linked)}.") if linked else "",
        small=tuple(small),
        table=_certificates(unit, known),
    )


def _against(material: Material, looks: Looks) -> str:
    """What the gains compare with what."""
    comparison = material.comparison
    if comparison is None:
        return ""
    final = looks.names[comparison.configurations[-1].key]
    return f"“{final}” against “{looks.names[comparison.baseline]}”"


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
            name, minus(knob.describe(claim.depth)), number(claim.mttf_hours, 0), number(claim.hours, 1),
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


def _gains(material: Material) -> tuple[GainView, ...]:
    comparison = material.comparison
    if comparison is None or len(comparison.configurations) < 2:
        return ()
    final = comparison.configurations[-1]
    if final.key == comparison.baseline:
        return ()
    made = []
    for row in comparison.rows:
        cell = next((one for one in row.cells if one.configuration == final.key), None)
        if cell is None or cell.gain is None or not _worth_a_place(row):
            continue
        made.append((row, cell))
    made.sort(key=lambda pair: pair[1].verdict not in REAL)
    return tuple(_gain(row, cell) for row, cell in made[:MOST_GAINS])


def _worth_a_place(row: Row) -> bool:
    metric = row.metric
    if metric.group in ("score", "frames", "sound"):
        return "stutter" not in metric.name
    if metric.group == "temperature":
        return metric.name.count(".") == 1 and " " not in metric.name
    return metric.group == "surface"


def _gain(row: Row, cell: Cell) -> GainView:
    gain = cell.gain
    assert gain is not None
    sure = "real" if cell.is_real else VERDICT_SAYS[cell.verdict]
    if math.isfinite(gain.percent) and math.isfinite(gain.low_percent):
        between = f"{signed(gain.low_percent, 1)} to {signed(gain.high_percent, 1)} %; "
    elif math.isfinite(gain.low):
        between = (
            f"{signed(gain.low, row.metric.decimals)} to {signed(gain.high, row.metric.decimals)} {row.metric.unit}; "
        )
    else:
        between = ""
    return GainView(row.metric.label, gain_text(row, cell), between + sure)
