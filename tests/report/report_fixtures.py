"""Journals that the report's tests are made from: the demo's whole story, and units of which little is known."""

from __future__ import annotations

from pathlib import Path

from surefoot.journal import Journal
from surefoot.rehearsal.demo_data import configuration_names, demo_happenings, demo_unit


def write_demo(home: Path, name: str = "fenland-15", seed: int = 15) -> None:
    """The demo's story in a journal under ``home``, the unit called ``name``."""
    unit = demo_unit(name)
    happenings = list(demo_happenings(seed, unit=unit))
    with Journal.open(home) as journal:
        journal.add_unit(unit)
        for one in happenings:
            run_id = journal.log_run(one.plan, one.closing, at=one.at)
            if one.trace is not None:
                journal.add_trace(run_id, one.trace)
            for score in one.scores:
                journal.add_score(unit.name, score, run_id=run_id)
            for reading in one.readings:
                journal.add_reading(unit.name, reading, run_id=run_id)
        for rank, (key, called) in enumerate(configuration_names(happenings).items(), 1):
            journal.name_configuration(unit.name, key, called, rank)
