"""Every fault of faults.py; the ones that take their time are long."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from faults import FAULTS, Skipped

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="shell scripts are the hands here")

SHORT = (
    "disk full as a failed run is closed",
    "disk full at the first start",
    "read-only data directory",
    "journal on a network",
    "hands that fail",
    "hands that apply another value",
    "nowhere to print to",
)


@pytest.mark.parametrize("name", [pytest.param(n, marks=[] if n in SHORT else [pytest.mark.long]) for n in FAULTS])
def test_a_fault_ends_in_one_message_the_right_outcome_and_stock(name: str, tmp_path: Path) -> None:
    try:
        FAULTS[name].try_(tmp_path)
    except Skipped as why:
        pytest.skip(str(why))
