"""Every chart as files: SVG for print, PNG for video and for print, and its data as CSV."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput
from surefoot.harmless import for_cell
from surefoot.report.picture import VIDEO, Picture
from surefoot.report.view import PageView
from surefoot.whole_file import put_bytes

if TYPE_CHECKING:
    import pandas as pd

    from surefoot.report.material import Material

# 960 by 540 drawn, so 1920 by 1080 for a screen, and 3200 by 1800 at 300 dots per inch: 27 cm wide on paper.
VIDEO_SCALE = 2.0
PRINT_SCALE = 10 / 3
PRINT_DOTS = 300
# The converter takes a drawing to have 72 dots an inch, and enlarges it by the dots asked for as by the scale.
SVG_DOTS = 72


def write_pictures(
    view: PageView, folder: str | os.PathLike[str], *, theme: str = "light", tell: Callable[[str], None] | None = None
) -> list[Path]:
    """Write every chart of a page into a folder, made if need be; the files, in the order of the page.

    A chart gives ``KEY.svg``, ``KEY-video.png`` (1920 by 1080), ``KEY-print.png`` (300 dots per inch) and ``KEY.csv``.
    ``tell``: called with each chart's name before it is drawn. Raises BadInput for a place that cannot be written.
    """
    place = Path(folder)
    written: list[Path] = []
    try:
        place.mkdir(parents=True, exist_ok=True)
        for picture in view.pictures():
            if tell is not None:
                tell(picture.key)
            written += _write(picture, place, view.stamp, theme)
    except OSError as error:
        raise BadInput(
            f"{place} cannot be written: {error.strerror}.", remedy="Give another folder with --pictures."
        ) from None
    return written


def svg_of(picture: Picture, stamp: str, theme: str = "light") -> str:
    """A chart as an SVG text that stands alone: colours and patterns inside, title and legend in the picture."""
    import vl_convert

    from surefoot.report.patterns import with_patterns
    from surefoot.report.theme import with_colours

    made: str = vl_convert.vegalite_to_svg(with_colours(picture.spec(VIDEO, stamp), theme))
    return with_patterns(made, theme)


def _write(picture: Picture, place: Path, stamp: str, theme: str) -> list[Path]:
    import vl_convert

    svg = svg_of(picture, stamp, theme)
    files = {
        f"{picture.key}.svg": svg.encode(),
        f"{picture.key}-video.png": vl_convert.svg_to_png(svg, scale=VIDEO_SCALE),
        f"{picture.key}-print.png": vl_convert.svg_to_png(
            svg, scale=PRINT_SCALE * SVG_DOTS / PRINT_DOTS, ppi=PRINT_DOTS
        ),
        f"{picture.key}.csv": csv_of(picture.table if picture.data is None else picture.data).encode(),
    }
    for name, content in files.items():
        put_bytes(content, place / name, overwrite=True)
    return [place / name for name in files]


def csv_of(frame: pd.DataFrame) -> str:
    """A table as CSV in which nothing is a formula."""
    texts = [name for name in frame.columns if frame[name].dtype.kind not in "biufcM"]
    safe = frame.assign(**{name: [for_cell(value) for value in frame[name]] for name in texts}) if texts else frame
    return str(safe.rename(columns=for_cell).to_csv(index=False, lineterminator="\n"))


def write_tables(material: Material, folder: str | os.PathLike[str]) -> list[Path]:
    """The tables of the report as CSV: runs, and every figure of the comparison; the files."""
    from surefoot.report.frames import comparison_frame, runs_frame

    place = Path(folder)
    frames = {"runs.csv": runs_frame(material.runs)}
    if material.comparison is not None:
        frames["comparison.csv"] = comparison_frame(material.comparison)
    try:
        place.mkdir(parents=True, exist_ok=True)
        for name, frame in frames.items():
            put_bytes(csv_of(frame).encode(), place / name, overwrite=True)
    except OSError as error:
        raise BadInput(
            f"{place} cannot be written: {error.strerror}.", remedy="Give another folder with --pictures."
        ) from None
    return [place / name for name in frames]
