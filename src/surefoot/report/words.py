"""The report's sentences: the job, the certificate, what a chart shows, each from the numbers it stands on."""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from surefoot.runs import Outcome, Run
from surefoot.scores.comparison import REAL, VERDICT_SAYS, Cell, Row
from surefoot.search import Evidence
from surefoot.search.words import failed_from
from surefoot.units import Knob, Setting, Unit
from surefoot.wording import count, listed

CAUTIONS = (
    "These numbers are for this very unit, with the firmware, driver, cooling and loads named here. Another machine of "
    "the same model may not hold them; do not copy them.",
    "A certificate is a statistical claim about hours of load, not a promise. Keep backups: unsaved work and file "
    "systems are at risk at every crash.",
    "Surfaces, vents and the battery get hot. Stop if a battery swells, smells or gets unusually hot. Surface "
    "readings are set beside the thresholds of ISO 13732-1 as information; that is no medical judgement and no "
    "judgement of compliance.",
    "The maker's warranty terms decide; changing voltages or clocks may end the warranty. Open a machine only "
    "unplugged and by the maker's service manual, or leave it to a qualified technician.",
    # Of the tool alone: what hands that are the user did besides cannot be known here.
    "Surefoot asked for no voltage above stock, switched no protection off, passed no firmware lock and made no "
    "setting apply at boot. After sleep, a mode change or a firmware update, check that a setting is still there.",
)


def minus(text: str) -> str:
    """A text with real minus signs before its numbers."""
    made = []
    for place, letter in enumerate(text):
        before = text[place - 1] if place else " "
        after = text[place + 1] if place + 1 < len(text) else ""
        made.append("−" if letter == "-" and after.isdigit() and before in " (:" else letter)
    return "".join(made)


def quoted(name: str) -> str:
    """A name as it is typed in a shell."""
    return shlex.quote(name)


def slug(text: str) -> str:
    """A text as a part of a file name: small letters, digits and hyphens."""
    made = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in text.lower())
    return "-".join(part for part in made.split("-") if part) or "x"


def number(value: float, decimals: int = 1) -> str:
    """A number for reading: thousands set apart, a real minus sign, a dash where it is not known."""
    if not math.isfinite(value):
        return "–"
    text = f"{value:,.{decimals}f}"
    return text.replace("-", "−") if float(f"{value:.{decimals}f}") else text.replace("-", "")


def signed(value: float, decimals: int = 1) -> str:
    """As `number`, with a plus sign where it is positive."""
    text = number(value, decimals)
    return f"+{text}" if float(f"{value:.{decimals}f}") > 0 else text


def hours(minutes: float) -> str:
    """A length of time in the unit that suits it."""
    return f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"


def job(unit: Unit, runs: Sequence[Run]) -> str:
    """The job in a sentence: what was asked of this unit, and what it took."""
    knobs = [knob.name for knob in unit.leaders()]
    if not runs:
        return f"How far {unit.name} can go, what holds, and what is gained: nothing was run on it yet."
    asked = f"How far the {listed(knobs)} of this very unit can go" if knobs else "How this very unit behaves"
    crashes = sum(run.outcome is not None and run.outcome.is_crash for run in runs)
    took = f"{count(len(runs), 'run')}, {hours(sum(run.minutes for run in runs))} under load"
    crashed = f", {count(crashes, 'crash', 'crashes')}" if crashes else ", no crash"
    return f"{asked}, what holds, and what was gained. It took {took}{crashed}."


def span(runs: Sequence[Run]) -> str:
    """From when to when the runs were made."""
    first, last = runs[0].opened_at, max(run.closed_at or run.opened_at for run in runs)
    if first.date() == last.date():
        return _day(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {_day(last)}"
    return f"{_day(first)} to {_day(last)}"


def _day(moment: datetime) -> str:
    return f"{moment.day} {moment:%B %Y}"


def setting_parts(unit: Unit, setting: Setting) -> list[str]:
    """Each knob of a setting as it is said."""
    if setting.is_stock:
        return ["stock"]
    units = {knob.name: knob.unit for knob in unit.knobs}
    return [minus(f"{name} {value:+g} {units.get(name, '')}".rstrip()) for name, value in setting.values.items()]


def setting_text(unit: Unit, setting: Setting) -> str:
    """A setting in short, units kept with numbers; a linked knob that stands where its leader does is left out."""
    follow = {knob.name: knob.linked_to for knob in unit.knobs if knob.linked_to}
    told = {
        name: value
        for name, value in setting.values.items()
        if name not in follow or value != setting.value(follow[name])
    }
    return tidy(", ".join(setting_parts(unit, Setting(values=told))))


def search_title(knob: Knob, runs: Iterable[tuple[float, Outcome, float]], known: float | None) -> str:
    """What a knob's search showed.

    ``runs``: as (depth, outcome, minutes); ``known``: the known-stable value, or None.
    """
    runs = list(runs)
    held = [depth for depth, outcome, _ in runs if outcome is Outcome.HELD]
    failed = [depth for depth, outcome, _ in runs if outcome.verdict(knob)]
    parts = []
    if known:
        parts.append(f"known-stable at {knob.describe(knob.depth_of(known))}")
    elif held and max(held) > 0:
        parts.append(f"held {'down' if knob.sign < 0 else 'up'} to {knob.describe(max(held))}")
    if failed:
        parts.append(failed_from(knob, [Evidence(depth, 0.0, True) for depth in failed]))
    return minus(f"{knob.name}: {listed(parts) or 'no run off stock yet'}")


def gain_text(row: Row, cell: Cell) -> str:
    """A difference to the baseline, short: percent where that has a meaning, else in the metric's unit."""
    gain = cell.gain
    if gain is None:
        return ""
    if math.isfinite(gain.percent):
        return f"{signed(gain.percent, 1)} %"
    return f"{signed(gain.absolute, row.metric.decimals)} {row.metric.unit}".rstrip()


def verdict_in_brief(cell: Cell) -> str:
    """A verdict in the few words that a title has room for; `why_not_shown` gives the rest."""
    if cell.is_real:
        return "real"
    said = VERDICT_SAYS[cell.verdict]
    return "not shown to be real" if said.startswith("not shown: ") else said


def why_not_shown(cells: Iterable[Cell]) -> str:
    """Why differences are not shown to be real, a sentence for each reason there is; "" where there is none."""
    reasons = dict.fromkeys(VERDICT_SAYS[cell.verdict] for cell in cells)
    told = [said.removeprefix("not shown: ") for said in reasons if said.startswith("not shown: ")]
    return " ".join(f"Not shown to be real: {reason}." for reason in told)


def tidy(text: str) -> str:
    """A text whose numbers stay with their units at the end of a line, ``90%`` written ``90 %``."""
    text = re.sub(r"(\d)%", r"\1 %", text)
    return re.sub(r"(\d) (%|°C|mV|MHz|W|h|min|dB|fps|rpm|points)(?![a-z])", "\\1\u00a0\\2", text)


def measure_title(
    row: Row, names: Mapping[str, str], own: Sequence[tuple[Row, Cell]] = (), *, alone: bool = False
) -> str:
    """A metric's statement, the same in whatever order the configurations stand.

    ``names``: by key; ``own``: the metric's rows and cells of the known-stable setting against its own partner at
    stock; ``alone``: nothing but the setting differs there. Without one it is the best that really differs.
    """
    label = row.metric.label[:1].upper() + row.metric.label[1:]
    for compared, cell in own:
        if cell.gain is None:
            continue
        by = "by the setting alone" if alone else f"with “{names[cell.configuration]}”"
        if cell.verdict in REAL:
            return f"{label}: {gain_text(compared, cell)} {by}"
        if cell.verdict == "not shown":
            return f"{label}: no real difference shown {by}"
        return f"{label}: {gain_text(compared, cell)} {by}, {verdict_in_brief(cell)}"
    real = [cell for cell in row.cells if cell.verdict in REAL and cell.gain is not None]
    if row.metric.better and real:
        better = [cell for cell in real if cell.verdict == "better"]
        worse = [cell for cell in real if cell.verdict != "better"]
        pick = max if row.metric.better == "higher" else min
        best = pick(better or worse, key=lambda cell: cell.mean)
        lead = "best" if len(better) > 1 else "least bad" if not better and len(worse) > 1 else ""
        said = f"{lead}, {gain_text(row, best)}," if lead else gain_text(row, best)
        return f"{label}: {said} with “{names[best.configuration]}”"
    compared_cells = [cell for cell in row.cells if cell.gain is not None]
    if compared_cells and all(cell.verdict == "not shown" for cell in compared_cells):
        return f"{label}: no real difference shown"
    return label
