"""Every fault of faults.py; the ones that take their time are long."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from faults import FAULTS, Skipped

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="shell scripts are the hands here")

LONG = ("disk full at an import, a bundle, a backup, a page", "a locale that is not UTF-8",
        "journal on a file system without a log, or in memory", "hands that print rubbish (bytes, megabytes)",
        "a load that cannot be started, ends at once, prints megabytes", "no permission",
        "flipped bits, a file cut short, a foreign file, a newer schema")  # fmt: skip


@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.long] if k.slow or n in LONG else []) for n, k in FAULTS.items()]
)
def test_a_fault_ends_in_one_message_the_right_outcome_and_stock(name: str, tmp_path: Path) -> None:
    try:
        FAULTS[name].try_(tmp_path)
    except Skipped as why:
        pytest.skip(str(why))
