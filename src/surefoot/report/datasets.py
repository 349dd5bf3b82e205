"""The data of charts: rows in JSON's own types, kept apart from the drawing while it is put together."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

import altair as alt

_DATASETS: ContextVar[dict[str, Any] | None] = ContextVar("datasets", default=None)


@contextmanager
def datasets() -> Iterator[dict[str, Any]]:
    """Collects the data of the charts drawn inside, by name.

    Altair copies a chart at every step, its data with it; a name is copied faster than a thousand rows.
    """
    found: dict[str, Any] = {}
    token = _DATASETS.set(found)
    try:
        yield found
    finally:
        _DATASETS.reset(token)


def values(frame: Any) -> Any:
    """A DataFrame as a chart's data, numbers rounded to five figures so that the page stays small."""
    return named(records(frame))


def named(rows: list[Any]) -> Any:
    """Rows as a chart's data: by name inside `datasets`, else inline."""
    found = _DATASETS.get()
    if found is None:
        return alt.Data(values=rows)
    name = f"data-{len(found) + 1}"
    found[name] = rows
    return alt.NamedData(name=name)


def records(frame: Any) -> list[dict[str, Any]]:
    """Rows of a DataFrame in JSON's own types; NaN becomes null."""
    columns = {str(name): [_plain(item) for item in frame[name].tolist()] for name in frame.columns}
    names = list(columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _plain(item: Any) -> Any:
    if isinstance(item, bool) or item is None or isinstance(item, str | int):
        return item
    if isinstance(item, float):
        return float(f"{item:.5g}") if item == item and abs(item) != float("inf") else None
    return str(item)
