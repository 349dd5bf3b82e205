"""Why dates are read by our own reader: its time against `pandas.to_datetime` with the format known, on one column.

Run by hand: `python tests/benchmarks/dates.py [ROWS]`. Both get the bytes of the file, in turn; a ratio above 1 means
that pandas takes longer. Pandas reads ISO 8601 fast and everything else with strptime; it gives up a cell that is
spelt otherwise than the rest, of which logs have many.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from surefoot.logs.stamps import read_stamps

FORMATS = (
    "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S.%f", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%H:%M:%S",
    "%d %b %Y %H:%M:%S",
)  # fmt: skip


def best(*works: Callable[[], object], times: int = 5) -> list[float]:
    """The least seconds of each, taken in turns."""
    least = [float("inf")] * len(works)
    for _ in range(times):
        for place, work in enumerate(works):
            began = time.perf_counter()
            work()
            least[place] = min(least[place], time.perf_counter() - began)
    return least


def main() -> None:
    """One line a format."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    moments = pd.date_range("2031-05-04 09:00:00", periods=rows, freq="1s")
    for form in FORMATS:
        column = np.array([text.encode() for text in moments.strftime(form)], dtype="S")

        def theirs(column: np.ndarray = column, form: str = form) -> object:
            return pd.to_datetime(pd.Series(column).str.decode("ascii"), format=form, errors="coerce")

        def ours(column: np.ndarray = column, form: str = form) -> object:
            return read_stamps(column, not form.startswith("%m"))

        own, other = best(ours, theirs)
        print(f"{form:24} {1000 * own:6.0f} ms; pandas {1000 * other:6.0f} ms = {other / own:.1f} times")


if __name__ == "__main__":
    main()
