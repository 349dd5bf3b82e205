"""How `surefoot trace` puts its answers on a terminal."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from surefoot.runs import Run, Trace
    from surefoot.thermal.asked import Judged
    from surefoot.thermal.explain import DomainExplanation, Explanation
    from surefoot.thermal.fan import Fan
    from surefoot.thermal.forecast import Estimate, Forecast
    from surefoot.units import Unit


def drawn(run: Run, card: Unit, trace: Trace, names: Sequence[str], *, rows: int, plain: bool, width: int) -> list[str]:
    """The lines of a picture, with the run named above it."""
    from surefoot.thermal.limiter import limiters
    from surefoot.thermal.limits import Limits
    from surefoot.thermal.picture import draw

    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    simple = plain or not encoding.startswith("utf")
    title = f"run {run.id} of {card.name}: {run.setting.describe(card)}, {run.plan.load}"
    reports = limiters(trace, Limits.of(card))
    return [*textwrap.wrap(title, width), *draw(trace, names, width=width, rows=rows, reports=reports, plain=simple)]


def _table(*columns: tuple[str, str]) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name, side in columns:
        table.add_column(name, justify="right" if side == "right" else "left", overflow="fold")
    return table


def _item(mark: str, text: str) -> RenderableType:
    """A line of a list that folds under its own text and not under its mark."""
    from rich.table import Table
    from rich.text import Text

    grid = Table.grid(padding=(0, 1, 0, 0), pad_edge=False)
    grid.add_column(width=2 if mark else 1)
    grid.add_column(overflow="fold")
    grid.add_row(f" {mark}", Text(text))
    return grid


def _signed(value: float, digits: int) -> str:
    """With its sign; nothing is +0, never -0."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"


def explanation(run: Run, card: Unit, said: Explanation) -> list[RenderableType]:
    """Words first, then the table of limiter shares, then what to mind."""
    from rich.text import Text

    title = f"run {run.id} of {card.name}: {run.setting.describe(card)}, {run.plan.load}, {said.minutes:.1f} minutes"
    parts: list[RenderableType] = [Text(title, style="bold"), Text("")]
    parts += [_item("", text) for text in said.sentences]
    if said.domains:
        parts += [Text(""), _shares(list(said.domains.values())), Text(""), _heat(list(said.domains.values()))]
        parts += [Text(""), _figures(list(said.domains.values()))]
    parts += [_item("", _fan_line(fan)) for fan in said.fans]
    offered = card_lines(said)
    if offered:
        parts += [Text(""), Text(f"Found and not on the card; `surefoot unit edit {card.name}` takes", style="bold")]
        parts += [Text(line) for line in offered]
    for heading, mark, texts in (("To mind", "!", said.warnings), ("Not told", "?", said.cannot_judge)):
        if texts:
            parts += [Text(""), Text(heading, style="bold"), *(_item(mark, text) for text in texts)]
    return parts


def _shares(parts: Sequence[DomainExplanation]) -> Table:
    from surefoot.thermal.labels import LABEL_SAYS, LABELS

    table = _table(("share of time", "left"), *((part.domain.upper(), "right") for part in parts))
    for label in LABELS[1:] + LABELS[:1]:
        shares = [part.limiter.share(label) for part in parts]
        if any(share >= 0.0005 for share in shares):
            table.add_row(LABEL_SAYS[label], *(f"{share:.1%}" for share in shares))
    table.add_row("how sure", *(f"{part.limiter.sure} ({part.limiter.confidence:.2f})" for part in parts))
    table.add_row("told by", *(part.limiter.source for part in parts))
    return table


def _heat(parts: Sequence[DomainExplanation]) -> Table:
    table = _table(("at the end", "left"), *((part.domain.upper(), "right") for part in parts))

    def value(number: float | None, unit: str, digits: int = 1) -> str:
        return "not measured" if number is None else f"{number:.{digits}f} {unit}"

    steady = [part.steady for part in parts]
    table.add_row(
        "temperature, final",
        *(
            "not known" if s is None or not s.known else f"{s.final_celsius:.1f} °C ± {s.half_width:.1f}"
            for s in steady
        ),
    )
    table.add_row("settled", *("not measured" if s is None else "yes" if s.reached else "no" for s in steady))
    table.add_row(
        "time constants",
        *("-" if s is None else " and ".join(f"{t:.0f} s" for t in s.time_constants_seconds) or "-" for s in steady),
    )
    table.add_row("power", *(value(part.watts, "W") for part in parts))
    table.add_row("clock", *(value(part.clock_mhz, "MHz", 0) for part in parts))
    found = [part.resistance for part in parts]
    table.add_row("thermal resistance", *("-" if r is None else f"{r.kelvin_per_watt:.2f} K/W" for r in found))
    return table


def _figures(parts: Sequence[DomainExplanation]) -> Table:
    """Peaks, energy, clock per watt and the spread between cores, over the whole trace."""
    table = _table(("over the trace", "left"), *((part.domain.upper(), "right") for part in parts))

    def row(name: str, cells: Sequence[str]) -> None:
        if any(cells):
            table.add_row(name, *(cell or "not measured" for cell in cells))

    def cell(value: float | None, form: str) -> str:
        return "" if value is None else form.format(value)

    read = [part.figures for part in parts]
    row("highest temperature", [cell(one.highest_celsius, "{:.1f} °C") for one in read])
    row("95th percentile", [cell(one.p95_celsius, "{:.1f} °C") for one in read])
    row("energy", ["" if one.energy_joules is None else f"{one.energy_joules / 3600:.2f} Wh" for one in read])
    row("power under load", [cell(one.mean_watts, "{:.1f} W") for one in read])
    row("clock under load", [cell(one.mean_mhz, "{:.0f} MHz") for one in read])
    row("clock per watt", [cell(one.mhz_per_watt, "{:.1f} MHz/W") for one in read])
    boosts = [part.limiter.boost for part in parts]
    if any(boosts):
        row("boost", ["none" if one is None else f"{one.seconds:.0f} s" for one in boosts])
    for quantity, unit, digits in (("temperature", "°C", 1), ("clock", "MHz", 0)):
        spreads = [next((s for s in one.spreads if s.quantity == quantity), None) for one in read]
        row(f"cores apart, {quantity}", ["" if s is None else f"{s.width:.{digits}f} {unit}" for s in spreads])
    return table


def _fan_line(fan: Fan) -> str:
    steps = "kept its speed" if not fan.steps else f"changed speed {fan.steps} time{'s' if fan.steps > 1 else ''}"
    return f"{fan.channel}: {fan.first_rpm:.0f} rpm at first, {fan.last_rpm:.0f} rpm at the end, {steps}."


def card_lines(said: Explanation) -> list[str]:
    """The limits found that the card does not have, as lines of a card."""
    tables = (("power_limits_watts", "power"), ("throttle_celsius", "throttle point"))
    lines: list[str] = []
    for table, kind in tables:
        rows = [
            f"{name} = {one.value:.1f}   # {one.low:.1f} to {one.high:.1f}"
            for name, part in said.domains.items()
            for one in part.limiter.found
            if one.kind == kind and not one.known
        ]
        lines += [f"[{table}]", *rows] if rows else []
    return lines


def forecast_view(run: int, made: Forecast, number: int) -> list[RenderableType]:
    """The forecast as a table, who holds the clock then, and what was taken for granted."""
    from rich.text import Text

    from surefoot.thermal.labels import LABEL_SAYS

    table = _table(
        (made.domain.upper(), "left"),
        ("now", "right"),
        ("then", "right"),
        ("95 % interval", "right"),
        ("change", "right"),
    )
    rows: list[tuple[str, str, int, Estimate | None]] = [
        ("power", "W", 1, made.watts),
        ("temperature", "°C", 1, made.celsius),
        ("clock", "MHz", 0, made.clock_mhz),
    ]
    for name, unit, digits, guess in rows:
        if guess is None:
            table.add_row(name, "not measured", "", "", "")
            continue
        table.add_row(
            name,
            f"{guess.before:.{digits}f} {unit}",
            f"{guess.value:.{digits}f} {unit}",
            f"{guess.low:.{digits}f} to {guess.high:.{digits}f}",
            _signed(guess.change, digits),
        )
    held = ", ".join(f"{LABEL_SAYS[name]} {share:.0%}" for name, share in sorted(made.limiters.items()))
    lines = [Text(f"What if {made.what.describe()}, from run {run} (forecast {number})", style="bold"), Text("")]
    after: list[RenderableType] = [Text(""), Text(f"Then: {held}."), Text("Taken for granted:")]
    after += [_item("-", text) for text in made.assumptions]
    return [*lines, table, *after]


def judged_view(before: int, after: int, judged: Judged) -> list[RenderableType]:
    """Forecast beside measurement, and whether it was inside."""
    from rich.text import Text

    how = "recorded before the change" if judged.made == "before" else f"none was recorded: made now from run {before}"
    title = Text(f"Forecast from run {before} ({judged.forecast.what.describe()}) against run {after}", style="bold")
    table = _table(
        (judged.verdict.domain.upper(), "left"),
        ("forecast", "right"),
        ("95 % interval", "right"),
        ("measured", "right"),
        ("error", "right"),
        ("inside", "left"),
    )
    for verdict in judged.verdict.quantities:
        digits = 0 if verdict.unit == "MHz" else 1
        table.add_row(
            verdict.quantity,
            f"{verdict.forecast:.{digits}f} {verdict.unit}",
            f"{verdict.low:.{digits}f} to {verdict.high:.{digits}f}",
            f"{verdict.measured:.{digits}f}",
            _signed(verdict.error, digits),
            "yes" if verdict.inside else "no",
        )
    notes = [_item("!", text) for text in (*judged.notes, *judged.verdict.warnings)]
    return [title, Text(f"Forecast {how}."), Text(""), table, Text(""), Text(judged.verdict.sentence), *notes]
