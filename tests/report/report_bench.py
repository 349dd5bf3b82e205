"""What the report's tests share; made once a session, because it takes seconds."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser, find_chromium
from report_fixtures import write_demo

from surefoot.journal import Journal
from surefoot.report.material import Material, collect
from surefoot.report.sections import build
from surefoot.report.view import PageView


@pytest.fixture(scope="session")
def demo_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the journal of the demo's story."""
    home = tmp_path_factory.mktemp("demo")
    write_demo(home)
    return home


@pytest.fixture(scope="session")
def material(demo_home: Path) -> Material:
    """What the report of the demo's story is made from."""
    with Journal.open(demo_home, read_only=True) as journal:
        return collect(journal, "shoebox-3")


@pytest.fixture(scope="session")
def view(material: Material) -> PageView:
    """The sections of that report."""
    return build(material)


@pytest.fixture(scope="session")
def html(view: PageView) -> str:
    """That report as HTML."""
    from surefoot.report.html import render

    return render(view)


@pytest.fixture(scope="session")
def page_file(html: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That report as a file."""
    from surefoot.report.page import write_page

    return write_page(html, tmp_path_factory.mktemp("page") / "report.html")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless browser; the test is skipped where there is none."""
    binary = find_chromium()
    if binary is None:
        pytest.skip("no Chromium on this machine: the page was not opened")
    with Browser(binary) as opened:
        yield opened
