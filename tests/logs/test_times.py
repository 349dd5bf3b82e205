"""Moments at the calendar's ends: in another zone they may have no date, so they are none."""

from __future__ import annotations

from datetime import datetime

import pytest

from surefoot.logs.times import as_datetime

EPOCH = datetime(1970, 1, 1)


@pytest.mark.parametrize(
    "text", ["0001-01-01T00:00:00", "0001-12-31T23:00:00", "9999-01-01T00:00:00", "9999-12-31T23:59:59"]
)
def test_a_moment_at_the_end_of_the_calendar_is_none(text: str) -> None:
    assert as_datetime((datetime.fromisoformat(text) - EPOCH).total_seconds(), False) is None


@pytest.mark.parametrize("text", ["0002-01-01T00:00:00", "2026-05-06T07:08:09", "9998-12-31T23:59:59"])
def test_any_other_has_a_date_in_every_zone(text: str) -> None:
    found = as_datetime((datetime.fromisoformat(text) - EPOCH).total_seconds(), False)
    assert found == datetime.fromisoformat(text)
    assert found.astimezone() is not None
