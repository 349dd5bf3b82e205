"""Journals that the report's tests are made from: the demo's whole story, as the example program writes it."""

from __future__ import annotations

import runpy
import sys
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).parents[2] / "examples" / "make_demo_data.py"


def write_demo(home: Path, name: str = "shoebox-3", seed: int = 15) -> None:
    """The demo's story in a journal under ``home``, the unit called ``name``."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SUREFOOT_HOME", str(home))
        patch.setattr(sys, "argv", [EXAMPLE.name, "--seed", str(seed), "--name", name])
        runpy.run_path(str(EXAMPLE), run_name="__main__")
