"""What the journal's tests share."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from surefoot.journal import Journal
from surefoot.units import Knob, Unit

UNIT = Unit(
    name="shoebox-3",
    knobs=(
        Knob("cpu-core", "cpu", "mV", "down", 5, 250),
        Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core"),
        Knob("gpu-core", "gpu", "MHz", "up", 15, 300),
    ),
    cooling="lid open, feet on blocks",
    ceilings_celsius={"cpu": 95},
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data directory of the test's own."""
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def journal(folder: Path) -> Iterator[Journal]:
    """A new journal with one unit."""
    with Journal.open() as made:
        made.add_unit(UNIT)
        yield made
