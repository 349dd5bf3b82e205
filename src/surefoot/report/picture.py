"""What a chart is to the report: a statement, a drawing, the words for those who cannot see it, and its data."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from surefoot.harmless import all_for_eyes

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Canvas:
    """What a chart is drawn for.

    ``standalone``: a picture of its own, with legend and a fixed size, and with its title where ``titled``; else a
    place on the page, as wide as the page gives it, with the page's own legend beside it. ``scale`` enlarges
    letters and marks.
    """

    standalone: bool = False
    titled: bool = True
    width: int | str = "container"
    height: int | None = None
    scale: float = 1.0

    def px(self, length: float) -> float:
        """A length or a letter size, enlarged as this canvas asks."""
        return round(length * self.scale, 1)


# Whether each drawing is checked against Vega-Lite's schema; for tests.
CHECKED = False

PAGE = Canvas()
# Drawn at half the size and doubled, so that letters are large enough to be read in a video.
VIDEO = Canvas(standalone=True, width=960, height=540, scale=1.35)
# Stands in for the chart where no JavaScript runs: legend inside, the title is on the page.
STILL = Canvas(standalone=True, titled=False, width=720)


@dataclass(frozen=True, slots=True)
class LegendItem:
    """One line of a legend: its word, and the sign that goes with it.

    ``value``: what is hidden when it is switched off, None where it cannot be; ``shape``: a path in the box from -1 to
    1; ``dash``: of a line; ``fill``: a colour's or a pattern's name, as charts write it; ``hollow``: outline only.
    """

    label: str
    fill: str
    value: str | None = None
    shape: str = ""
    dash: tuple[int, ...] | None = None
    hollow: bool = False


@dataclass(frozen=True)
class Picture:
    """One chart.

    ``key``: its name in files and in the page, unique; ``title``: what it shows, as a statement where the data allow;
    ``description``: the same for a reader who cannot see it; ``draw``: the chart for a canvas (an Altair chart);
    ``table``: the numbers for those who read tables; ``data``: what it is drawn from, for the CSV, where that is more;
    ``note``: what the reader must know beside the chart; ``says``: what its signs mean and how many runs it rests on,
    for a picture that stands alone; ``zooms``: whether it can be zoomed along x; ``wide``: whether it takes the whole
    width of a pair of charts.
    """

    key: str
    title: str
    description: str
    draw: Callable[[Canvas], Any]
    table: pd.DataFrame
    data: pd.DataFrame | None = None
    legend: tuple[LegendItem, ...] = ()
    note: str = ""
    says: str = ""
    zooms: bool = False
    wide: bool = True

    def spec(self, canvas: Canvas, stamp: str = "") -> dict[str, Any]:
        """The Vega-Lite specification for a canvas; ``stamp``: of whom it is, for a picture that stands alone."""
        from altair.utils.schemapi import debug_mode

        # Altair checks every part against the schema as it is made, which takes nine tenths of the time. The tests
        # draw with the checks on.
        from surefoot.report.datasets import datasets

        with debug_mode(CHECKED), datasets() as data:
            made = self._spec(canvas, stamp)
        made["datasets"] = data
        safe: dict[str, Any] = all_for_eyes(made)
        return safe

    def _spec(self, canvas: Canvas, stamp: str) -> dict[str, Any]:
        from surefoot.report.theme import vega_config

        # Set on the finished text: every change to an Altair chart copies the whole of it.
        made: dict[str, Any] = self.draw(canvas).to_dict(validate=CHECKED)
        # The schema's address: nothing here is to look as if it were fetched.
        made.pop("$schema", None)
        made["description"] = self.description
        made["config"] = vega_config(canvas.scale if canvas.standalone else 1.0)
        if canvas.standalone:
            made |= {"width": canvas.width}
            if canvas.height is not None:
                made["height"] = canvas.height
            if canvas.titled:
                subtitle = [line for part in (self.note, self.says, stamp) if part for line in _wrapped(part, 118)]
                made["title"] = {"text": _wrapped(self.title, 74), "subtitle": subtitle}
                made["config"] |= {"padding": 22, "background": "var(--card)"}
        else:
            made["width"] = "container"
        fit = "fit" if canvas.standalone and canvas.height is not None else "fit-x"
        made["autosize"] = {"type": fit, "contains": "padding"}
        return made


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width) or [""]
