"""Dates against an independent reader: `pandas.to_datetime` with the format known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from surefoot.logs.stamps import DAY, read_stamps


@pytest.mark.parametrize(
    ("form", "day_first"),
    [
        ("%Y-%m-%d %H:%M:%S", None),
        ("%Y-%m-%dT%H:%M:%S.%f", None),
        ("%Y/%m/%d %H:%M", None),
        ("%d.%m.%Y %H:%M:%S", True),
        ("%m/%d/%Y %I:%M:%S %p", False),
        ("%d %b %Y %H:%M:%S", None),
        ("%B %d, %Y %H:%M:%S", None),
        ("%Y%m%d %H%M%S", None),
    ],
)
def test_dates_and_times_agree_with_pandas(form: str, day_first: bool | None) -> None:
    random = np.random.default_rng(8)
    # Six decades, leap days and the turns of years and days among them.
    moments = pd.to_datetime(random.integers(0, 60 * 365 * 86400, 400), unit="s")
    turns = ["2028-02-29 23:59:59", "2028-03-01 00:00:00", "2026-12-31 23:59:59", "2000-01-01 12:00:00"]
    texts = pd.DatetimeIndex([*moments, *pd.to_datetime(turns)]).strftime(form)
    right = pd.to_datetime(texts, format=form)
    got = read_stamps(np.array(texts, dtype=object), day_first)
    seconds = (right - pd.Timestamp(0)).total_seconds().to_numpy()
    assert got.days * DAY + got.clock == pytest.approx(seconds, abs=1e-6)
