"""How a comparison, a choice and the configurations look in a terminal of 80 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from surefoot.report.gather import hottest
from surefoot.scores.comparison import VERDICT_SAYS, Cell, Comparison, LimiterShare, Row, Verdict
from surefoot.scores.configurations import short_names
from surefoot.wording import count

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.report.gather import Gathered
    from surefoot.scores.choose import Choice
    from surefoot.scores.configurations import Configuration
    from surefoot.scores.efficiency import EqualScore
    from surefoot.scores.metrics import Metric
    from surefoot.scores.supply import SupplyCheck

# A sign before each word, so that nothing rests on colour.
_SIGNS = {
    "better": ("▲ better", "green"),
    "worse": ("▼ worse", "red"),
    "higher": ("▲ higher", "cyan"),
    "lower": ("▼ lower", "cyan"),
    "not shown": ("= not shown", ""),
    "drifted": ("~ drifted", "yellow"),
    "could drift": ("~ by drift?", "yellow"),
    "unfinished": ("… goes on", "yellow"),
    "one run": ("? one run", "yellow"),
    "upper bound": ("? bound", "yellow"),
    "no baseline": ("", ""),
    "baseline": ("baseline", "bold"),
    "not measured": ("", ""),
}

_LABEL_WORDS = {
    "thermal": "temperature",
    "power": "power",
    "current": "current",
    "other": "another reason",
    "free": "nothing",
    "idle": "idle",
    "unknown": "not known",
}


def comparison_view(
    gathered: Gathered,
    comparison: Comparison,
    equal: Sequence[EqualScore],
    supply: Sequence[SupplyCheck],
    everything: bool,
    alone: bool = False,
) -> list[RenderableType]:
    """A legend of the configurations, a block a metric, then what must be read with it.

    Numbers are those that `configs` gives. ``alone``: the metrics asked for, and nothing of what was not.
    """
    numbers = {one.key: gathered.numbers[one.key] for one in comparison.configurations}
    names = {one.key: one.name for one in comparison.configurations}
    short = short_names(comparison.configurations)
    parts: list[RenderableType] = [Text(f"{gathered.unit.name}: {count(len(names), 'configuration')}", style="bold")]
    parts.append(_legend(comparison, numbers))
    shown = [row for row in comparison.rows if everything or row.metric.main]
    for row in shown:
        parts.append(_title(row))
        parts.append(_block(row, numbers, short))
        missed = _would_have_shown(row, numbers)
        if missed:
            parts.append(Text(f"   {missed}", style="dim"))
    hidden = len(comparison.rows) - len(shown)
    if hidden:
        parts.append(Text(f"{hidden} more metrics with --all.", style="dim"))
    if comparison.limiters and not alone:
        parts += [Text(), Text("What held the clock down, share of the time", style="bold")]
        parts.append(_limiters(comparison.limiters, numbers, short))
    if equal and not alone:
        parts += [Text(), Text("Watts at the baseline's score", style="bold")]
        parts += [Text(f"  {one.words}.") for one in equal]
    if supply and not alone:
        parts += [Text(), Text("Supply", style="bold")]
        parts += [
            Text(f"  {numbers[one.configuration]} {short[one.configuration]}: {one.verdict}; {one.words}.")
            for one in supply
        ]
    hot = [one for one in hottest(gathered.surfaces) if one.configuration in names]
    surfaces = any(row.metric.group == "surface" for row in shown)
    if hot and (surfaces or not alone):
        parts += [Text(), Text("Surfaces, the hottest reading of each place, as read", style="bold")]
        for one in hot:
            where = f"  {numbers[one.configuration]} {short[one.configuration]}, {one.place or 'surface'}"
            parts.append(Text(f"{where}: {one.verdict.words}."))
        parts.append(Text(hot[0].verdict.caution, style="dim"))
    parts += [Text(), *(Text(one) for one in comparison.taken)]
    parts += [Text(f"{_SIGNS[verdict][0]}: {VERDICT_SAYS[verdict]}.") for verdict in _to_explain(shown)]
    parts += [Text(), Text(comparison.correction)]
    parts += [
        Text(f"Note: {note}")
        for note in (*comparison.notes, *comparison.left_out, *(() if alone else gathered.problems))
    ]
    parts += [Text(f"Note: {note}") for note in _cell_notes(shown, numbers)]
    return parts


def _to_explain(rows: Sequence[Row]) -> list[Verdict]:
    """The verdicts in these rows that two words in a column do not explain."""
    there = {cell.verdict for row in rows for cell in row.cells}
    explained: tuple[Verdict, ...] = ("drifted", "could drift", "unfinished")
    return [verdict for verdict in explained if verdict in there]


def choice_view(choice: Choice) -> list[RenderableType]:
    """The answer in a sentence, the candidates, what it gives up and gains, cautions."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("", width=1)
    table.add_column("configuration", width=26, no_wrap=True, overflow="ellipsis")
    table.add_column(f"{choice.measure_label} ({choice.measure_unit})", justify="right", max_width=14)
    table.add_column("keeps", justify="right")
    table.add_column("chance", justify="right")
    table.add_column("best", justify="right")
    for one in choice.candidates:
        mark = "→" if one is choice.chosen else ""
        table.add_row(
            mark,
            one.short_name,
            f"{one.value:.{choice.measure_decimals}f}",
            f"{100 * one.share:.1f} %" + ("" if one.keeps else " ✗"),
            _chance(one.chance_keeps),
            _chance(one.chance_best),
            style="bold" if mark else "",
        )
    parts: list[RenderableType] = [Text(choice.sentence, style="bold"), Text(), table, Text()]
    if choice.goal != "fastest":
        whole = "the best" if choice.against == "best" else "the baseline"
        kept = f"keeps: share of {choice.of_label} of {choice.reference_name} ({whole})"
        kept += f", ✗ below {100 * choice.keeping:g} %"
        chances = "chance: that it is truly kept; best: that it keeps it and is truly the best"
        parts.append(Text(f"{kept}; {chances}.", style="dim"))
    for words, changes in (("It costs", choice.costs), ("It gains", choice.gains)):
        if changes:
            parts.append(Text(f"{words}, against the baseline: " + "; ".join(one.words for one in changes) + "."))
    return [*parts, *(Text(f"Note: {note}") for note in choice.notes)]


def configurations_view(unit_name: str, found: Sequence[Configuration]) -> list[RenderableType]:
    """Number, name, runs and what tells one from another."""
    if not found:
        return [Text(f"No run of {unit_name} counts as measured yet: `surefoot measure` makes one.")]
    parts: list[RenderableType] = []
    for number, one in enumerate(found, 1):
        runs = count(len(one.run_ids), "run")
        line = Text(f"{number:>2} ")
        line.append(one.name, style="bold")
        line.append(f"  {runs}")
        parts.append(line)
        facts = [one.automatic_name] if one.name != one.automatic_name else []
        facts += [f"load {one.load}"] if one.load and "load " not in one.automatic_name else []
        facts += [f"firmware {one.firmware}"] if one.firmware and "firmware " not in one.automatic_name else []
        if one.ambients:
            low, high = min(one.ambients), max(one.ambients)
            facts.append(f"room {low:g} °C" if low == high else f"rooms {low:g} to {high:g} °C")
        if facts:
            parts.append(Text(f"   {'; '.join(facts)}", style="dim"))
    return parts


def _legend(comparison: Comparison, numbers: dict[str, int]) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(justify="right", width=2)
    table.add_column()
    for one in comparison.configurations:
        name = f"{one.name} (baseline)" if one.key == comparison.baseline else one.name
        table.add_row(str(numbers[one.key]), name)
    return table


def _title(row: Row) -> Text:
    metric = row.metric
    better = f", {metric.better} is better" if metric.better else ""
    unit = f" ({metric.unit}{better})" if metric.unit else better
    title = Text(f"\n{metric.label}{unit}", style="bold")
    return title.append(f"  {', '.join(row.taken)}", style="not bold dim") if row.taken else title


def _would_have_shown(row: Row, numbers: dict[str, int]) -> str:
    """For those that show no difference, the smallest that four in five such measurements would have shown."""
    found = []
    for cell in row.cells:
        gain = cell.gain
        if gain is None or not math.isfinite(gain.would_show):
            continue
        percent = math.isfinite(gain.would_show_percent)
        size = f"{gain.would_show_percent:.2g} %" if percent else f"{gain.would_show:.2g} {row.metric.unit}"
        found.append(f"{numbers[cell.configuration]}: {size}")
    return f"would have shown, four times in five: {', '.join(found)}" if found else ""


def _block(row: Row, numbers: dict[str, int], names: dict[str, str]) -> Table:
    table = Table(box=None, show_header=True, header_style="dim", pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column("", justify="right", width=2)
    table.add_column("", width=19, no_wrap=True, overflow="ellipsis")
    table.add_column("mean ± sd", justify="right", min_width=12)
    table.add_column("runs", justify="right", width=4)
    table.add_column("difference (interval)", justify="right", min_width=24)
    table.add_column("real?", width=11)
    for cell in row.cells:
        if not cell.runs:
            continue
        words, style = _SIGNS[cell.verdict]
        table.add_row(
            str(numbers[cell.configuration]),
            names[cell.configuration],
            _mean(cell, row.metric),
            str(cell.runs),
            _difference(cell, row.metric),
            Text(words, style=style),
        )
    return table


def _mean(cell: Cell, metric: Metric) -> str:
    text = f"{'≤ ' if cell.at_most else ''}{_number(cell.mean, metric.decimals)}"
    return text if math.isnan(cell.sd) else f"{text} ± {cell.sd:.{metric.decimals}f}"


def _difference(cell: Cell, metric: Metric) -> str:
    gain = cell.gain
    if gain is None:
        return ""
    if math.isfinite(gain.percent):
        text = f"{_signed(gain.percent, 1)} %"
        low, high, digits = gain.low_percent, gain.high_percent, 1
    else:
        text = f"{_signed(gain.absolute, metric.decimals)} {metric.unit}"
        low, high, digits = gain.low, gain.high, metric.decimals
    if not math.isfinite(low):
        return text
    return f"{text} ({_signed(low, digits)} to {_signed(high, digits)})"


def _number(value: float, decimals: int) -> str:
    """Without a minus sign before a zero."""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def _signed(value: float, decimals: int) -> str:
    text = _number(value, decimals)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def _limiters(shares: Sequence[LimiterShare], numbers: dict[str, int], names: dict[str, str]) -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    table.add_column(justify="right", width=2)
    table.add_column(width=22, no_wrap=True, overflow="ellipsis")
    table.add_column(width=4)
    table.add_column()
    for one in shares:
        ordered = sorted(one.shares.items(), key=lambda item: -item[1])
        words = ", ".join(
            f"{_LABEL_WORDS.get(label, label)} {100 * share:.0f} %" for label, share in ordered if share >= 0.005
        )
        table.add_row(str(numbers[one.configuration]), names[one.configuration], one.domain.upper(), words)
    return table


def _cell_notes(rows: Sequence[Row], numbers: dict[str, int]) -> list[str]:
    """What must be known of single cells, each note once with the configurations and measures it is of."""
    found: dict[tuple[str, tuple[str, ...]], list[int]] = {}
    for note in dict.fromkeys(note for row in rows for cell in row.cells for note in cell.notes):
        for key, number in numbers.items():
            labels = tuple(
                row.metric.label
                for row in rows
                for cell in row.cells
                if cell.configuration == key and note in cell.notes
            )
            if labels:
                found.setdefault((note, labels), []).append(number)
    return [
        f"{', '.join(map(str, places))}: {', '.join(labels[:3])}{' and more' if len(labels) > 3 else ''}: {note}."
        for (note, labels), places in found.items()
    ]


def _chance(chance: float | None) -> str:
    if chance is None:
        return "–"
    if chance > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if chance < 0.001 else f"{100 * chance:.3g} %"
