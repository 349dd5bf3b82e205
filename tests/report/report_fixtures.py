"""Journals that the report's tests are made from: the demo's whole story, and units of which little is known."""

from __future__ import annotations

from pathlib import Path

from surefoot.guide.demo import write_happenings
from surefoot.journal import Journal
from surefoot.rehearsal.demo_data import demo_happenings, demo_unit


def write_demo(home: Path, name: str = "shoebox-3", seed: int = 15) -> None:
    """The demo's story in a journal under ``home``, the unit called ``name``."""
    unit = demo_unit(name)
    happenings = list(demo_happenings(seed, unit=unit))
    with Journal.open(home) as journal:
        journal.add_unit(unit)
        write_happenings(journal, unit, happenings)
