"""`surefoot rehearse --pool`: the search with a pool against the same search without."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from surefoot.cli.common import Fitting, show

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.guide.pool_rehearsal import Rehearsed

Shown = AbstractContextManager[Callable[[int, int], None]]


def show_pool(units: int, seed: int, workers: int | None, dask: str | None, as_json: bool, shown: Shown) -> None:
    """Play every case and print the table."""
    from surefoot.guide.pool_rehearsal import rehearse_pool
    from surefoot.pool.cluster import cluster

    with shown as told:
        if dask:
            with cluster(dask) as executor:
                found = rehearse_pool(units, seed, executor=executor, progress=told)
        else:
            found = rehearse_pool(units, seed, workers=workers, progress=told)
    tools = [
        {"case": one.case, "hours": one.hours, "given": one.given, "lent": one.lent, "alone": one.alone}
        for one in found
    ]
    show({"units": units, "seed": seed, "cases": tools}, lambda: _view(found, units, seed), as_json)


def _view(found: list[Rehearsed], units: int, seed: int) -> list[RenderableType]:
    from rich.table import Table

    table = Table(title=f"with a pool, over without: {units} new units a row, seed {seed}", title_justify="left")
    table.add_column("case", overflow="fold")
    for name in ("hours", "given", "honest", "alone", "crash"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found:
        table.add_row(
            one.case.name, f"{one.hours:.2f}", f"{one.given:.2f}",
            f"{one.lent.honest:.3f}", f"{one.alone.honest:.3f}", f"{one.lent.crashes / one.alone.crashes:.2f}",
        )  # fmt: skip
    return [
        Fitting(table),
        "hours, given (depth given away where honest), crash: with the pool over without. honest, alone: share of the "
        "claims that are true, with and without (intervals in --json).",
    ]
