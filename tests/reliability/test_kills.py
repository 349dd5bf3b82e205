"""CI's share of kills.py: every kind of work killed some times."""

from __future__ import annotations

import sys

import pytest
from kills import ACKNOWLEDGED, KINDS, WHILE_APPLIED, count

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")


def test_what_is_killed_loses_nothing_and_leaves_nothing() -> None:
    found = count(50, seed=2)
    assert [text for line in found for text in line.lost] == []
    assert sum(line.tried for line in found) >= 50 and {line.what for line in found} == {f"kill -9: {k}" for k in KINDS}
    assert sum(line.sums.get(ACKNOWLEDGED, 0) for line in found) > 50


@pytest.mark.long
def test_a_thousand_kills_lose_nothing() -> None:
    found = count(1000)
    assert [text for line in found for text in line.lost] == []
    assert sum(line.sums.get(WHILE_APPLIED, 0) for line in found) > 50, "kills fell while a setting stood applied"
