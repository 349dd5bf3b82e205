"""From the journal to the page: the report of one unit as a file."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput
from surefoot.units import Unit

if TYPE_CHECKING:
    from surefoot.journal.reader import JournalReader


@dataclass(frozen=True, slots=True)
class EmptySection:
    """A section with nothing to show: its title, and the command that would fill it."""

    title: str
    command: str


@dataclass(frozen=True, slots=True)
class ReportFiles:
    """What was written: the page; the folder of pictures and the files in it; the sections left empty."""

    unit: str
    page: Path
    folder: Path | None
    files: tuple[Path, ...]
    charts: tuple[str, ...]
    empty: tuple[EmptySection, ...]


def report_files(
    journal: JournalReader,
    unit: Unit | str,
    path: str | os.PathLike[str],
    *,
    pictures: str | os.PathLike[str] | None = None,
    baseline: str | None = None,
    tell: Callable[[str], None] | None = None,
    doing: Callable[[str], None] | None = None,
) -> ReportFiles:
    """Write the report of a unit and, with ``pictures``, every chart and table as files in that folder.

    ``tell``: called with each chart's name before it is drawn as files; ``doing``: with what is being
    done. Raises BadInput as `write_report` does.
    """
    from surefoot.report.html import render
    from surefoot.report.library import Library
    from surefoot.report.material import collect
    from surefoot.report.pictures import write_pictures, write_tables
    from surefoot.report.sections import build

    card = journal.unit(unit) if isinstance(unit, str) else unit
    with Library() as library:
        material = collect(journal, card, baseline=baseline, tell=doing)
        view = build(material)
        if doing is not None:
            doing(f"Drawing {len(view.pictures())} charts")
        page = write_page(render(view, library), path)
    files: list[Path] = []
    if pictures is not None:
        files = [*write_pictures(view, pictures, tell=tell), *write_tables(material, pictures)]
    return ReportFiles(
        unit=material.unit.name,
        page=page,
        folder=Path(pictures) if pictures is not None else None,
        files=tuple(files),
        charts=tuple(picture.key for picture in view.pictures()),
        empty=tuple(EmptySection(one.title, one.empty.command) for one in view.sections if one.empty),
    )


def write_report(
    journal: JournalReader, unit: Unit | str, path: str | os.PathLike[str], *, baseline: str | None = None
) -> Path:
    """Write the report of a unit as one HTML file that needs nothing else; its place.

    ``baseline``: name or number of the configuration that the others are compared with; the first when None. The
    file is there whole or not at all. Raises BadInput for an unknown unit or baseline, or a place that cannot be
    written.
    """
    return report_files(journal, unit, path, baseline=baseline).page


def write_page(html: str, path: str | os.PathLike[str]) -> Path:
    """Write a page to a file, whole or not at all. Raises BadInput for a place that cannot be written."""
    from surefoot.whole_file import put_bytes

    place = Path(path)
    try:
        if place.is_dir():
            raise BadInput(f"{place} is a folder.", remedy="Give a file, for example report.html.")
        place.parent.mkdir(parents=True, exist_ok=True)
        put_bytes(html.encode("utf-8"), place, overwrite=True)
    except OSError as error:
        raise BadInput(
            f"{place} cannot be written: {error.strerror}.", remedy="Give another place with --out."
        ) from None
    return place
