"""A trace drawn in text: one panel a channel in braille dots (or plain characters), over one time axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from surefoot.errors import BadInput
from surefoot.runs import Channel, Floats, Trace
from surefoot.thermal.channels import DOMAINS, whole
from surefoot.thermal.labels import LABEL_SAYS, LABELS
from surefoot.thermal.limiter import LimiterReport

MARKS = {"unknown": "?", "idle": "_", "free": ".", "thermal": "T", "power": "P", "current": "C", "other": "o"}
"""One character a label, for the strip under the panels: shape and not colour tells them apart."""

_GUTTER = 9
# Dots of a braille cell by column and row from the top (Unicode chart U+2800).
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
_SHOWN_FIRST = ("temperature", "clock", "power", "fan", "voltage", "busy")


def usual_channels(trace: Trace, most: int = 6) -> list[str]:
    """The channels to show when none are named: for CPU, GPU and the rest, the whole of what matters most."""
    there = [name for name, values in trace.channels.items() if np.isfinite(values).any()]
    chosen: list[str] = []
    for quantity in _SHOWN_FIRST:
        for domain in DOMAINS:
            name = f"{domain}.{quantity}"
            if name in there or whole(trace, domain, quantity) is not None:
                chosen.append(name)
    chosen.extend(name for name in there if name not in chosen and Channel.parse(name).domain not in DOMAINS)
    return (chosen or there)[:most]


def draw(
    trace: Trace,
    names: Sequence[str],
    *,
    width: int = 80,
    rows: int = 5,
    reports: Mapping[str, LimiterReport] | None = None,
    plain: bool = False,
) -> list[str]:
    """Lines of text, none longer than ``width``: a panel of ``rows`` lines a channel, and the time axis in minutes.

    ``reports``: of `limiter.limiters`, drawn as a strip of marks a domain; ``plain``: ASCII only. Each column shows
    the range of the samples that fall into it. Raises BadInput for a channel that is not in the trace, or a width
    under 40.
    """
    if width < 40:
        raise BadInput(f"a picture needs at least 40 columns, got {width}.")
    if len(trace) == 0:
        raise BadInput("the trace has no samples: there is nothing to draw.")
    columns = width - _GUTTER - 2
    lines: list[str] = []
    for name in names:
        lines += _panel(name, trace.seconds, series(trace, name), columns, rows, width, plain)
    for domain, report in (reports or {}).items():
        lines.append(_strip(trace.seconds, report, columns, domain, plain))
    lines += _time_axis(trace.seconds, columns, plain)
    if reports:
        used = sorted({int(code) for report in reports.values() for code in np.unique(report.labels)})
        lines += _folded("held by: " + ", ".join(f"{MARKS[LABELS[c]]} {_short(LABELS[c])}" for c in used), width)
    return lines


def _short(label: str) -> str:
    return LABEL_SAYS[label].removeprefix("held by ")


def series(trace: Trace, name: str) -> Floats:
    """A channel of the trace, or what stands for the whole of it. Raises BadInput naming the channels there are."""
    values = trace.get(name)
    if values is None:
        channel = Channel.parse(name)
        values = None if channel.part else whole(trace, channel.domain, channel.quantity)
    if values is None:
        there = ", ".join(sorted(trace.channels)) or "none"
        raise BadInput(f"the trace has no channel {name!r}.", remedy=f"Its channels: {there}.")
    return values


def _places(seconds: Floats, cells: int) -> NDArray[np.int64]:
    span = max(float(seconds[-1] - seconds[0]), 1e-9)
    place: NDArray[np.int64] = np.minimum(((seconds - seconds[0]) / span * cells).astype(np.int64), cells - 1)
    return place


def _panel(name: str, seconds: Floats, values: Floats, columns: int, rows: int, width: int, plain: bool) -> list[str]:
    unit = Channel.parse(name).unit or "1"
    if plain:
        unit = unit.replace("°C", "degC")
    there = np.isfinite(values)
    bar = "|" if plain else "│"
    if not there.any():
        return [f"{name} ({unit}): no readings"[:width]]
    seen = values[there]
    low, high = float(seen.min()), float(seen.max())
    title = f"{name} ({unit})  low {_number(low)}  mean {_number(float(seen.mean()))}  high {_number(high)}"
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    across, down = (1, 1) if plain else (2, 4)
    place = _places(seconds, columns * across)[there]
    height = np.clip(((seen - low) / (high - low) * (rows * down - 1)).round().astype(np.int64), 0, rows * down - 1)
    top = np.full(columns * across, -1)
    bottom = np.full(columns * across, rows * down)
    np.maximum.at(top, place, height)
    np.minimum.at(bottom, place, height)
    level = np.arange(rows * down)[:, None]
    grid = (level >= bottom[None, :]) & (level <= top[None, :])
    picture = grid[::-1]
    lines = [title[:width]]
    for row in range(rows):
        label = {0: high, rows - 1: low}.get(row)
        if rows >= 5 and row == rows // 2:
            label = (low + high) / 2
        left = "" if label is None else _number(label)
        cells = picture[row * down : (row + 1) * down]
        if plain:
            drawn = "".join("*" if cell else " " for cell in cells[0])
        else:
            codes = np.zeros(columns, dtype=np.int64)
            for x in range(2):
                for y in range(4):
                    codes += _DOTS[x][y] * cells[y, x::2]
            drawn = "".join(chr(0x2800 + int(code)) if code else " " for code in codes)
        lines.append(f"{left:>{_GUTTER}} {bar}{drawn}".rstrip())
    return lines


def _number(value: float) -> str:
    """At most 8 characters."""
    size = abs(value)
    if size >= 1e6:
        return f"{value:.1e}"
    return f"{value:.0f}" if size >= 1000 else f"{value:.1f}" if size >= 10 else f"{round(value, 2) + 0.0:g}"


def _strip(seconds: Floats, report: LimiterReport, columns: int, domain: str, plain: bool) -> str:
    place = _places(seconds, columns)
    counts = np.zeros((columns, len(LABELS)), dtype=np.int64)
    np.add.at(counts, (place, report.labels.astype(np.int64)), 1)
    main = counts.argmax(axis=1)
    marks = "".join(MARKS[LABELS[int(label)]] if counts[column].any() else " " for column, label in enumerate(main))
    return f"{domain + ' held':>{_GUTTER}} {'|' if plain else '│'}{marks}".rstrip()


def _time_axis(seconds: Floats, columns: int, plain: bool) -> list[str]:
    start, end = float(seconds[0]) / 60.0, float(seconds[-1]) / 60.0
    corner, dash = ("+", "-") if plain else ("└", "─")
    axis = " " * (_GUTTER + 1) + corner + dash * columns
    left, right = f"{start:.1f}", f"{end:.1f} min"
    middle = f"{(start + end) / 2:.1f}"
    line = list(" " * (columns + 1))
    for text, at in ((left, 0), (middle, columns // 2 - len(middle) // 2), (right, columns + 1 - len(right))):
        line[at : at + len(text)] = text
    return [axis, " " * (_GUTTER + 1) + "".join(line).rstrip()]


def _folded(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width, subsequent_indent="  ")


BOTH_MARKS = ("a", "b", "#")
"""In a picture of two traces: the first, the second, and where they fall together. Letters: no colour is needed."""


def draw_both(
    name: str, minutes: Floats, one: Floats, other: Floats, *, width: int = 80, rows: int = 6, plain: bool = False
) -> list[str]:
    """Two series over one axis of time and of value, as lines of text no longer than ``width``.

    ``minutes``, ``one``, ``other``: shape (n,). Each column shows the mean of what falls into it. Raises BadInput for a
    width under 40.
    """
    if width < 40:
        raise BadInput(f"a picture needs at least 40 columns, got {width}.")
    columns = width - _GUTTER - 2
    seen = np.concatenate([one[np.isfinite(one)], other[np.isfinite(other)]])
    unit = Channel.parse(name).unit or "1"
    unit = unit.replace("°C", "degC") if plain else unit
    if seen.size == 0:
        return [f"{name} ({unit}): no readings"[:width]]
    low, high = float(seen.min()), float(seen.max())
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    place = _places(minutes, columns)
    cells = np.full((rows, columns), " ", dtype="<U1")
    for series_, mark in ((one, BOTH_MARKS[0]), (other, BOTH_MARKS[1])):
        there = np.isfinite(series_)
        count = np.bincount(place[there], minlength=columns)
        total = np.bincount(place[there], weights=series_[there], minlength=columns)
        full = np.flatnonzero(count)
        height = np.round((total[full] / count[full] - low) / (high - low) * (rows - 1)).astype(np.int64)
        for column, level in zip(full.tolist(), (rows - 1 - height).tolist(), strict=True):
            cells[level, column] = mark if cells[level, column] == " " else BOTH_MARKS[2]
    bar = "|" if plain else "│"
    lines = [f"{name} ({unit})"[:width]]
    for row in range(rows):
        label = {0: _number(high), rows - 1: _number(low)}.get(row, "")
        lines.append(f"{label:>{_GUTTER}} {bar}{''.join(cells[row])}".rstrip())
    return [*lines, *_time_axis(minutes * 60.0, columns, plain)]
