"""The sections of what was measured: heat, clock and power; scores; sound, surfaces and the wall; the whole table."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from surefoot.report.chapters import frame_times
from surefoot.report.charts import common, strip, surfaces
from surefoot.report.gather import hottest
from surefoot.report.look import Looks
from surefoot.report.material import Material
from surefoot.report.picture import Picture
from surefoot.report.view import Block, Column, Empty, Section, TableCell, TableView
from surefoot.report.words import gain_text, measure_title, number, quoted, slug
from surefoot.scores.comparison import VERDICT_SAYS, Cell, Comparison, Row
from surefoot.scores.surfaces import CAUTION, THRESHOLDS
from surefoot.wording import count

if TYPE_CHECKING:
    import pandas as pd

MOST_CHARTS = 8


def scores(material: Material, looks: Looks) -> Section:
    """Scores, frames and efficiency with their intervals."""
    charts = _strips(material, looks, lambda row: row.metric.group in ("score", "frames", "efficiency"))
    title = "What was gained"
    if not charts:
        name = quoted(material.unit.name)
        return Section(
            "scores", "Scores", title, empty=Empty("No score was recorded.", f"surefoot score {name} NAME VALUE")
        )
    curves = frame_times.pictures(material, looks)
    blocks = (Block(charts), *((Block(curves, pairs=False),) if curves else ()))
    return Section("scores", "Scores", title, _lead(material.comparison, looks), blocks=blocks)


def heat(material: Material, looks: Looks) -> Section:
    """Temperature, clock and power of each part by configuration."""
    charts = _strips(material, looks, _is_heat)
    title = "Temperature, clock and power"
    if not charts:
        name = quoted(material.unit.name)
        return Section("heat", "Heat", title, empty=Empty("No sensor trace was recorded.", f"surefoot measure {name}"))
    comparison = material.comparison
    rooms = [note for note in comparison.notes if note.startswith("Temperatures")] if comparison else []
    lead = "Means under load, warm-up left out. " + " ".join(rooms)
    return Section("heat", "Heat", title, lead.strip(), blocks=(Block(charts),))


def surroundings(material: Material, looks: Looks) -> Section:
    """What reaches the user: sound, surfaces, fans, power from the wall."""
    title = "Noise, surfaces and the wall"
    name = quoted(material.unit.name)
    sound = _strips(
        material, looks, lambda row: row.metric.group in ("sound", "fan") or row.metric.name.startswith("wall-power")
    )
    touched = _surfaces(material, looks)
    if not sound and touched is None:
        return Section(
            "noise", "Noise and surfaces", title,
            empty=Empty("No instrument was read.", f"surefoot reading {name} sound 41.5 --background 33"),
        )  # fmt: skip
    blocks = [Block(sound)] if sound else []
    lead = ""
    if touched is not None:
        blocks.append(Block((touched,), pairs=False))
        lead = "Sound levels are corrected for the background by the rules of ISO 3744. " if sound else ""
        lead += CAUTION
    return Section("noise", "Noise and surfaces", title, lead, blocks=tuple(blocks), tables=_supply(material, looks))


def _supply(material: Material, looks: Looks) -> tuple[TableView, ...]:
    """What was seen of the supply: wall power against the rating, a battery that drains on mains."""
    columns = (
        Column("supply"), Column("highest at the wall, W", True), Column("adapter's rating, W", True),
        Column("battery on mains, % an hour", True), Column("verdict"),
    )  # fmt: skip
    rows = tuple(
        tuple(
            TableCell(text)
            for text in (
                looks.names[one.configuration],
                _or_dash(one.wall_watts, 0),
                _or_dash(one.rated_watts, 0),
                _or_dash(-one.drain_percent_per_hour if one.drain_percent_per_hour else one.drain_percent_per_hour, 1),
                one.verdict,
            )
        )
        for one in material.supply
        if one.configuration in looks.names
    )
    return (TableView(columns, rows, "Whether the supply keeps up."),) if rows else ()


def _or_dash(value: float | None, decimals: int) -> str:
    return "–" if value is None else number(value, decimals)


def _equal_scores(material: Material, looks: Looks) -> tuple[TableView, ...]:
    """Watts at the baseline's score."""
    columns = (
        Column("configuration"), Column("score"), Column("W at the baseline's score", True),
        Column("baseline, W", True), Column("how"),
    )  # fmt: skip
    rows = tuple(
        (
            TableCell(looks.names[one.configuration]), TableCell(one.metric), TableCell(number(one.watts, 1)),
            TableCell(number(one.baseline_watts, 1)), TableCell(one.how),
        )
        for one in material.equal_scores
    )  # fmt: skip
    caption = (
        "The same work for less: power where a configuration does no more than the baseline. Scaled: in proportion, so "
        "only about right; measure it in another power mode to know."
    )
    return (TableView(columns, rows, caption),) if rows else ()


def everything(material: Material, looks: Looks) -> Section:
    """Every metric against the baseline, as a table."""
    title = "Everything measured, against the baseline"
    comparison = material.comparison
    if comparison is None or not comparison.rows:
        name = quoted(material.unit.name)
        return Section(
            "compared", "All figures", title, empty=Empty("Nothing was measured.", f"surefoot measure {name}")
        )
    base = looks.names[comparison.baseline]
    columns = (Column("measure"), *(Column(looks.names[one.key], True) for one in comparison.configurations))
    rows = []
    for row in comparison.rows:
        if not row.metric.main:
            continue
        label = f"{row.metric.label}, {row.metric.unit}" if row.metric.unit else row.metric.label
        rows.append((TableCell(label), *(TableCell(_cell_text(row, cell)) for cell in row.cells)))
    caption = f"Mean by configuration, in brackets the difference to “{base}”; * marks a real one."
    table = TableView(columns, tuple(rows), caption)
    after = " ".join((comparison.correction, *comparison.notes, *comparison.left_out, *material.problems))
    return Section("compared", "All figures", title, tables=(table, *_equal_scores(material, looks)), after=after)


def _cell_text(row: Row, cell: Cell) -> str:
    if not cell.runs:
        return "–"
    return _end_text(row, cell)


def _lead(comparison: Comparison | None, looks: Looks) -> str:
    if comparison is None:
        return ""
    base = looks.names[comparison.baseline]
    return (
        f"Large marks are means, bars their {comparison.confidence:.0%} intervals, small marks single runs. The "
        "dashed line is "
        f"the baseline, “{base}”; in brackets the difference to it, * where it is real. {comparison.correction}"
    )


def _is_heat(row: Row) -> bool:
    metric = row.metric
    if metric.group not in ("temperature", "clock", "power") or metric.name.startswith("wall-power"):
        return False
    channel, _, statistic = metric.name.partition(" ")
    return channel.count(".") == 1 and statistic in ("", "mean")


def _strips(material: Material, looks: Looks, wanted: Callable[[Row], bool]) -> tuple[Picture, ...]:
    comparison = material.comparison
    if comparison is None:
        return ()
    rows = [row for row in comparison.rows if row.metric.main and wanted(row) and any(cell.runs for cell in row.cells)]
    return tuple(_strip(row, comparison, looks, material) for row in rows[:MOST_CHARTS])


def _title(row: Row, material: Material, looks: Looks) -> str:
    own, alone = [], True
    for pair, compared in material.own:
        found = compared.row(row.metric.name)
        cell = compared.cell(row.metric.name, pair.tuned.key) if found is not None else None
        if found is not None and cell is not None and cell.gain is not None:
            own, alone = [(found, cell)], pair.alone
            break
    return measure_title(row, looks.names, own, alone=alone)


def _strip(row: Row, comparison: Comparison, looks: Looks, material: Material) -> Picture:
    import pandas as pd

    metric = row.metric
    measured = [cell for cell in row.cells if cell.runs]
    means = pd.DataFrame([
        {
            "configuration": looks.names[cell.configuration],
            "mean": cell.mean,
            "low": cell.low if cell.interval_from == "runs" else math.nan,
            "high": cell.high if cell.interval_from == "runs" else math.nan,
            "interval": _interval_text(cell, row, comparison.confidence),
            "runs": cell.runs,
            "text": _end_text(row, cell),
            "verdict": VERDICT_SAYS[cell.verdict],
        }
        for cell in measured
    ])  # fmt: skip
    points = pd.DataFrame([
        {
            "configuration": looks.names[cell.configuration],
            "value": value,
            "run": f"run {run_id}" if run_id is not None else "read alone",
        }
        for cell in measured
        for value, run_id in zip(cell.values, cell.run_ids, strict=True)
    ])  # fmt: skip
    base = comparison.cell(metric.name, comparison.baseline)
    axis = f"{metric.label}, {metric.unit}" if metric.unit else metric.label
    notes = sorted({note for cell in measured for note in cell.notes if note})
    return Picture(
        key=f"measure-{slug(metric.name)}",
        title=_title(row, material, looks),
        description=f"{axis}, by configuration. " + _said(means),
        note=" ".join(part for part in (_note(row, notes, measured), _beside(row, material, looks)) if part),
        says=_says(measured, comparison, looks),
        draw=partial(strip.draw, means, points, looks.by_name, axis, base.mean if base else None),
        table=means[["configuration", "mean", "low", "high", "runs", "verdict"]],
        data=points,
        wide=False,
    )


def _beside(row: Row, material: Material, looks: Looks) -> str:
    """What the title sets beside what, where that is not the chart's own baseline."""
    for pair, compared in material.own:
        cell = compared.cell(row.metric.name, pair.tuned.key)
        if cell is not None and cell.gain is not None:
            tuned, stock = looks.names[pair.tuned.key], looks.names[pair.stock.key]
            return f"The title sets “{tuned}” beside “{stock}”, judged as that pair alone."
    return ""


def _says(measured: list[Cell], comparison: Comparison, looks: Looks) -> str:
    """What the signs of a strip mean, and how many runs it rests on."""
    runs = {cell.runs for cell in measured}
    many = f"{min(runs)} to {max(runs)}" if len(runs) > 1 else str(min(runs))
    return (
        f"Large marks: means of {many} runs each; bars: {comparison.confidence:.0%} intervals of the mean; small "
        f"marks: single runs. In brackets the difference to “{looks.names[comparison.baseline]}” (dashed line); "
        "*: it is real."
    )


def _note(row: Row, notes: list[str], measured: list[Cell]) -> str:
    words = []
    if row.metric.better:
        words.append(f"{row.metric.better.capitalize()} is better.")
    if any(cell.at_most for cell in measured):
        words.append("≤: the background hides how quiet it is; the value is an upper bound.")
    elif notes and len(notes) == 1 and len(notes[0]) < 90:
        words.append(f"{notes[0][:1].upper()}{notes[0][1:]}.")
    return " ".join(words)


def _said(means: pd.DataFrame) -> str:
    return "; ".join(f"{name} {text}" for name, text in zip(means["configuration"], means["text"], strict=True)) + "."


def _interval_text(cell: Cell, row: Row, confidence: float) -> str:
    if cell.interval_from != "runs" or not math.isfinite(cell.low):
        return "none, one run" if cell.runs == 1 else "none"
    decimals = row.metric.decimals
    return f"{number(cell.low, decimals)} to {number(cell.high, decimals)} ({confidence:.0%})"


def _end_text(row: Row, cell: Cell) -> str:
    text = ("≤ " if cell.at_most else "") + number(cell.mean, row.metric.decimals)
    if cell.gain is None:
        return text
    return f"{text} ({gain_text(row, cell).removesuffix(row.metric.unit).strip()}{'*' if cell.is_real else ''})"


def _surfaces(material: Material, looks: Looks) -> Picture | None:
    import pandas as pd

    # A hand touches the hottest moment, in the room it was: no mean over runs, nothing moved to another room.
    read = {
        (one.configuration, one.place): sum(
            (other.configuration, other.place, other.state) == (one.configuration, one.place, "load")
            for other in material.surfaces
        )
        for one in material.surfaces
    }
    records = [
        {
            "place": one.place or "surface",
            "configuration": looks.names[one.configuration],
            "celsius": one.verdict.celsius,
            "readings": read[one.configuration, one.place],
            "verdict": one.verdict.words,
        }
        for one in hottest(material.surfaces)
        if one.configuration in looks.names
    ]
    if not records:
        return None
    frame = pd.DataFrame(records)
    most = frame.iloc[int(frame["celsius"].to_numpy().argmax())]
    order = [name for name in looks.by_name if name in set(frame["configuration"])]
    return Picture(
        key="surfaces",
        title=f"Hottest surface under load: {most['place']}, {number(float(most['celsius']), 1)} °C "
        f"with “{most['configuration']}”",
        description=f"Surface temperatures by place and configuration, the hottest reading of each; {most['verdict']}.",
        note="Each mark is the hottest reading, as read. Dotted lines: burn thresholds of ISO 13732-1 at long contact "
        "(51 °C: uncoated metal).",
        says=f"The hottest of {_range_of(frame['readings'])} of each place and configuration.",
        draw=partial(
            surfaces.draw,
            frame,
            looks.by_name,
            [(one.celsius, f"{one.celsius:g} °C: {_brief(one.contact)}") for one in THRESHOLDS],
        ),
        table=frame,
        legend=common.series_legend(order, [looks.by_name[name] for name in order]),
    )


def _range_of(readings: pd.Series[int]) -> str:
    """``3 to 6 readings``."""
    least, most = int(readings.min()), int(readings.max())
    return (f"{least} to " if least < most else "") + count(most, "reading")


def _brief(contact: str) -> str:
    return contact.replace("hours and longer", "h").replace("minutes", "min").replace("minute", "min")
