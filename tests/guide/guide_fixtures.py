"""A bench for the guide's tests: a journal in a temporary home, a card, and a virtual machine whose edge is known."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rehearsal.machine import VirtualMachine
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.units import Knob, Unit

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.sqlite") as opened:
        yield opened


@pytest.fixture
def unit(journal: Journal) -> Unit:
    card = Unit(name="shoebox-3", knobs=(CORE,), firmware="F-1", ceilings_celsius={"cpu": 95})
    journal.add_unit(card)
    return card


@pytest.fixture
def voice() -> Unattended:
    return Unattended()


@pytest.fixture
def machine(unit: Unit) -> VirtualMachine:
    return VirtualMachine(unit, {"cpu-core": VirtualUnit(110, 5)}, seed=1)
