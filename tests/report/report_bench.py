"""What the report's tests share; made once a session, because it takes seconds."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from devtools import Browser, find_chromium
from report_fixtures import write_demo

from made_once import made_once
from surefoot.journal import Journal
from surefoot.report.material import Material, collect
from surefoot.report.sections import build
from surefoot.report.view import PageView
from surefoot.thermal import limiter, summary


@pytest.fixture(scope="session")
def demo_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the journal of the demo's story, to be read."""
    return made_once(tmp_path_factory, "demo", write_demo)


@pytest.fixture(scope="session", autouse=True)
def each_trace_worked_out_once() -> Iterator[None]:
    """What a trace says (pure functions of it) is kept in this process: one unit is asked about again and again."""
    with pytest.MonkeyPatch.context() as patch:
        for module, name in ((summary, "summarise"), (limiter, "limiters")):
            patch.setattr(module, name, _kept(getattr(module, name)))
        yield


def _kept(work: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    known: dict[bytes, dict[str, Any]] = {}

    def again(*given: Any, **named: Any) -> dict[str, Any]:
        key = hashlib.sha256(pickle.dumps((given, named))).digest()
        if key not in known:
            known[key] = work(*given, **named)
        return dict(known[key])

    return again


@pytest.fixture(scope="session")
def material(demo_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Material:
    """What the report of the demo's story is made from."""

    def make(folder: Path) -> None:
        with Journal.open(demo_home, read_only=True) as journal:
            (folder / "material").write_bytes(pickle.dumps(collect(journal, "shoebox-3")))

    # Written by this very run of the suite: nobody else's pickle.
    made: Material = pickle.loads((made_once(tmp_path_factory, "material", make) / "material").read_bytes())
    return made


@pytest.fixture(scope="session")
def view(material: Material) -> PageView:
    """The sections of that report."""
    return build(material)


@pytest.fixture(scope="session")
def page_file(view: PageView, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """That report as a file."""
    from surefoot.report.html import render
    from surefoot.report.page import write_page

    folder = made_once(tmp_path_factory, "page", lambda folder: write_page(render(view), folder / "report.html"))
    return folder / "report.html"


@pytest.fixture(scope="session")
def html(page_file: Path) -> str:
    """That report as HTML."""
    return page_file.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A headless browser; the test is skipped where there is none."""
    binary = find_chromium()
    if binary is None:
        pytest.skip("no Chromium on this machine: the page was not opened")
    with Browser(binary) as opened:
        yield opened
