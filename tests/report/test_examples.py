"""The example programs run as they stand; the example cards are read by tests/cli/test_unit.py and here."""

from __future__ import annotations

import runpy
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from surefoot.journal.card_file import read_card
from surefoot.report.view import PageView

EXAMPLES = Path(__file__).parents[2] / "examples"


def test_a_picture_of_ones_own_is_drawn_from_the_journal(
    demo_home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUREFOOT_HOME", str(demo_home))
    monkeypatch.setattr(sys, "argv", ["draw_my_own.py", "shoebox-3", str(tmp_path / "own.svg")])
    runpy.run_path(str(EXAMPLES / "draw_my_own.py"), run_name="__main__")
    assert ET.parse(tmp_path / "own.svg").getroot().tag.endswith("svg")


def test_the_story_is_the_one_the_example_writes(view: PageView) -> None:
    # The fixture has the example itself write the journal.
    assert view.unit == "shoebox-3" and "virtual" in view.stamp


@pytest.mark.parametrize("card", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_card_is_a_card(card: Path) -> None:
    read = read_card(card, "some-unit")
    assert read.knobs
