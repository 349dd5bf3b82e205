"""The live view of a run: a few lines that stay on their lines, whatever the width."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from surefoot.guide.voice import LiveView

SHOWN: Final = (
    ("cpu.temperature", "CPU {:.0f} °C"),
    ("cpu.clock", "{:.0f} MHz"),
    ("cpu.power", "{:.0f} W"),
    ("gpu.temperature", "GPU {:.0f} °C"),
    ("gpu.clock", "{:.0f} MHz"),
    ("gpu.power", "{:.0f} W"),
    ("fan.fan", "fan {:.0f} rpm"),
)
NAMES: Final[Mapping[str, str]] = {"cpu": "CPU", "gpu": "GPU"}
BAR: Final = 20
SPARKS: Final = "▁▂▃▄▅▆▇█"
SPARK_CELLS: Final = 20
INDENT: Final = "  "


def lines_of(view: LiveView, temperatures: Mapping[str, Sequence[float]], width: int) -> list[str]:
    """The view as lines of at most ``width`` characters.

    ``temperatures``: by domain, °C, the run so far. What does not fit is left out whole, never cut in the middle of a
    number; a title that is too long ends in an ellipsis.
    """
    room = max(20, width - len(INDENT))
    share = min(1.0, view.minutes / view.planned_minutes) if view.planned_minutes else 0.0
    cells = min(BAR, room // 3)
    full = round(share * cells)
    bar = "█" * full + "·" * (cells - full)
    title = fitted(view.title, room - cells - 2)
    found = [f"{title}  {bar}", _joined([time_left(view), *_sensors(view), view.phase], room)]
    found += [_joined(parts, room) for domain in temperatures if (parts := _heat(view, domain, temperatures[domain]))]
    found.append(_joined([view.chance, view.edge, _checked(view)], room))
    return [INDENT + line for line in found if line]


def line_of(view: LiveView, width: int) -> str:
    """The view in one line, for a pipe: time left, sensors, how far the ceilings are, what is at stake."""
    margins = [words for domain in view.ceilings_celsius if (words := _margin(view, domain))]
    return _joined([time_left(view), _checked(view), *_sensors(view), *margins, view.chance, view.phase], width)


def time_left(view: LiveView) -> str:
    """Minutes and seconds to the end of the plan."""
    seconds = max(0, round((view.planned_minutes - view.minutes) * 60))
    return f"{seconds // 60}:{seconds % 60:02d} left"


def sparkline(values: Sequence[float], cells: int = SPARK_CELLS) -> str:
    """The values as a row of bars, the hottest of each stretch, from the lowest to the highest of them."""
    if not values:
        return ""
    count = min(cells, len(values))
    edges = [place * len(values) // count for place in range(count + 1)]
    peaks = [max(values[start:end]) for start, end in pairwise(edges)]
    low, high = min(peaks), max(peaks)
    scale = (len(SPARKS) - 1) / (high - low) if high > low else 0.0
    return "".join(SPARKS[round((peak - low) * scale)] for peak in peaks)


def fitted(text: str, room: int) -> str:
    """The text in so many characters at most."""
    return text if len(text) <= room else text[: max(0, room - 1)].rstrip() + "…"


def _heat(view: LiveView, domain: str, values: Sequence[float]) -> list[str]:
    """A domain's temperature over the run, and how far its ceiling is."""
    name = NAMES.get(domain, domain)
    return [f"{name} {sparkline(values)} {values[-1]:.0f} °C", _margin(view, domain)] if values else []


def _margin(view: LiveView, domain: str) -> str:
    ceiling, now = view.ceilings_celsius.get(domain), view.sample.get(f"{domain}.temperature")
    if ceiling is None or now is None:
        return ""
    left = ceiling - now
    name = NAMES.get(domain, domain)
    return f"{name} {left:.0f} °C below its ceiling" if left > 0 else f"{name} AT its ceiling of {ceiling:.0f} °C"


def _sensors(view: LiveView) -> list[str]:
    return [shown.format(view.sample[name]) for name, shown in SHOWN if name in view.sample]


def _checked(view: LiveView) -> str:
    return f"{view.progress:,.0f} checked" if view.progress else ""


def _joined(parts: Sequence[str], width: int) -> str:
    line = ""
    for part in parts:
        longer = f"{line} · {part}" if line else part
        if part and len(longer) <= width:
            line = longer
    return line
