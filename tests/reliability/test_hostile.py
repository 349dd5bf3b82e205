"""CI's share of the hostile inputs: `python tests/reliability/hostile.py` plays many more."""

from __future__ import annotations

import os

import pytest
from hostile import play
from table import Counted

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the peak of memory is read by POSIX's resource module")


SOME = [("card", 10), ("table", 7), ("log", 7), ("frames", 4), ("bundle", 2)]
MORE = [pytest.param(kind, 10 * cases, marks=pytest.mark.long) for kind, cases in SOME]


@pytest.mark.parametrize(("kind", "cases"), [*SOME, *MORE])
def test_no_hostile_file_is_more_than_refused(kind: str, cases: int) -> None:
    tried = Counted(kind)
    play(kind, 0, cases, tried)
    assert (tried.tried, tried.lost) == (cases, [])


@pytest.mark.parametrize(("kind", "place"), [("log", 4356), ("log", 18480), ("bundle", 1338)])
def test_what_was_lost_once_is_not_lost_again(kind: str, place: int) -> None:
    """Found by the long run: dates in the years 1 and 9999, and a moment in a bundle that is a number."""
    tried = Counted(kind)
    play(kind, place, place + 1, tried)
    assert (tried.survived, tried.lost) == (1, [])


def test_the_counting_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """With nothing granted, everything is lost: the limits are really looked at."""
    monkeypatch.setattr("hostile.MEGABYTES", 1)
    tried = Counted("card")
    play("card", 7, 8, tried)
    assert tried.lost and tried.survived == 0
