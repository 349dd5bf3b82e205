"""What the whole suite shares."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from confirming import Everything
from made_once import made_once
from surefoot.journal import store
from surefoot.report import library
from surefoot.rig import card_commands

# Shared machines are noisy: an example that takes long is no failure. Speed is measured in tests/benchmarks.
settings.register_profile("surefoot", deadline=None)
# In continuous integration every run tries the same examples, so that a red run is red because of the change in it.
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "surefoot")


_SYNCHRONOUS = store.SYNCHRONOUS
_FSYNC = os.fsync


@pytest.fixture(scope="session", autouse=True)
def _no_waiting_for_the_disk() -> Iterator[None]:
    """In this process nothing waits until the disk has it, but tests marked `flushed`: no power is cut here.

    What flushes are worth is tested on recordings of child processes (`tests/reliability`), which flush as ever.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(store, "SYNCHRONOUS", "OFF")
        patch.setattr(os, "fsync", lambda _handle: None)
        yield


@pytest.fixture(scope="session", autouse=True)
def _a_cache_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What is kept because it can be made again is kept in a folder of the run's own (Linux)."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _one_chart_library(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The charting library that pages carry is the same text each time: made when it is first asked for, and kept.

    What imported `Library` before has the real one (`test_report_page.py` tries it).
    """

    class Made(library.Library):
        def __init__(self) -> None:
            self._process = None

        def text(self) -> str:
            def make(folder: Path) -> None:
                (folder / "library.js").write_text(library.made_here(), encoding="utf-8")

            return (made_once(tmp_path_factory, "library", make) / "library.js").read_text(encoding="utf-8")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(library, "Library", Made)
        yield


@pytest.fixture(autouse=True)
def _flushed_as_ever(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if request.node.get_closest_marker("flushed") is not None:
        monkeypatch.setattr(store, "SYNCHRONOUS", _SYNCHRONOUS)
        monkeypatch.setattr(os, "fsync", _FSYNC)


@pytest.fixture(autouse=True)
def _commands_of_cards_are_confirmed(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The suite's own cards count as confirmed in its own process; what is refused is tested under `asks`."""
    if request.node.get_closest_marker("asks") is None:
        monkeypatch.setattr(card_commands, "_remembered", Everything)
    card_commands._let_through.clear()
    yield
    card_commands._let_through.clear()
