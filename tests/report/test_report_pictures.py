"""Charts as files: SVG that stands alone, PNG of the promised size, CSV that reads back."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from surefoot.errors import BadInput
from surefoot.report.material import Material
from surefoot.report.pictures import svg_of, write_pictures, write_tables
from surefoot.report.view import Block, PageView, Section

SVG = "{http://www.w3.org/2000/svg}"


def only(view: PageView, *keys: str) -> PageView:
    """The page with these charts alone."""
    charts = tuple(one for one in view.pictures() if one.key in keys)
    assert len(charts) == len(keys)
    return replace(view, sections=(Section("s", "s", "s", blocks=(Block(charts),)),))


def png_size(path: Path) -> tuple[int, int]:
    """Width and height from the header (PNG specification: IHDR follows the signature)."""
    head = path.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n" and head[12:16] == b"IHDR"
    width, height = struct.unpack(">II", head[16:24])
    return width, height


def test_a_chart_gives_svg_two_pngs_and_csv(view: PageView, tmp_path: Path) -> None:
    told: list[str] = []
    files = write_pictures(only(view, "limiters-cpu", "search-path-cpu-core"), tmp_path / "new", tell=told.append)
    assert told == ["search-path-cpu-core", "limiters-cpu"]
    assert [file.name for file in files] == [
        f"{key}{end}" for key in told for end in (".svg", "-video.png", "-print.png", ".csv")
    ]
    for key in told:
        assert png_size(tmp_path / "new" / f"{key}-video.png") == (1920, 1080)
        assert png_size(tmp_path / "new" / f"{key}-print.png") == (3200, 1800)
    shares = pd.read_csv(tmp_path / "new" / "limiters-cpu.csv")
    assert shares.groupby("configuration")["share"].sum().between(0.99, 1.01).all()


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_a_picture_stands_alone(view: PageView, theme: str) -> None:
    picture = next(one for one in view.pictures() if one.key == "limiters-cpu")
    svg = svg_of(picture, "a <unit> & co", theme)
    assert "var(--" not in svg and '<pattern id="fill-thermal"' in svg
    root = ET.fromstring(svg)
    assert (root.get("width"), root.get("height")) == ("960", "540")
    texts = ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]
    assert any("a <unit> & co" in text for text in texts), texts
    assert "as it came in" in texts
    assert any("temperature" in text for text in texts)


def test_tables_are_written_as_csv(material: Material, tmp_path: Path) -> None:
    files = write_tables(material, tmp_path)
    assert [file.name for file in files] == ["runs.csv", "comparison.csv"]
    assert len(pd.read_csv(files[0])) == len(material.runs)


def test_a_folder_that_cannot_be_is_refused(view: PageView, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInput, match="cannot be written"):
        write_pictures(only(view, "surfaces"), tmp_path / "file")
