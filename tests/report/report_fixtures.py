"""Journals that the report's tests are made from: the demo's whole story, and units of which little is known."""

from __future__ import annotations

from pathlib import Path

from surefoot.guide.demo import Demo, play
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal

NAME = "shoebox-3"


def write_demo(home: Path, name: str = NAME, seed: int = 15) -> Demo:
    """The demo's story in a journal under ``home``, the unit called ``name``."""
    with Journal.open(home) as journal:
        return play(journal, seed, Unattended(), name=name)
