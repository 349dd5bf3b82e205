"""`surefoot rehearse --use DAYS`: virtual units lived with after a quick tuning, and what the days bring and cost."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from surefoot.cli.common import Fitting, show

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import RenderableType

    from surefoot.rehearsal.use import UseMeasures


def show_use(
    units: int,
    seed: int,
    days: int,
    populations: list[str] | None,
    hazards: list[str] | None,
    workers: int | None,
    as_json: bool,
    progress: AbstractContextManager[Callable[[int, int], None]],
) -> None:
    """Play it and print the table; every population where none was named."""
    from surefoot.rehearsal.populations import POPULATIONS
    from surefoot.rehearsal.use import days_told, rehearse_use, uses_named

    every = not populations or "all" in populations
    with progress as told:
        found = rehearse_use(
            units, seed, days=days_told(days), populations=tuple(POPULATIONS if every else populations or ()),
            uses=uses_named(hazards), workers=workers, progress=told,
        )  # fmt: skip
    show({"units": units, "seed": seed, "days": days, "measures": found}, lambda: _view(found, units, seed), as_json)


def _view(found: list[UseMeasures], units: int, seed: int) -> list[RenderableType]:
    from rich.table import Table

    from surefoot.rehearsal.use import HOURS_A_DAY

    parts: list[RenderableType] = []
    for population, use in dict.fromkeys((one.population, one.use) for one in found):
        title = f"{population}, use {use}: {units} units, seed {seed}"
        table = Table(title=title, title_justify="left", pad_edge=False)
        table.add_column("lived with", no_wrap=True)
        for name in ("day", "in use", "given away", "crashes", "honest", "in use", "on trial"):
            table.add_column(name, justify="right", no_wrap=True)
        before = ""
        for one in found:
            if (one.population, one.use) != (population, use):
                continue
            table.add_row(
                one.way if one.way != before else "", str(one.day), f"{one.hours:.0f} h", _figure(one.give_away, 1),
                _figure(one.crashes, 2), _figure(one.honest, 3), _figure(one.honest_in_use, 3),
                _figure(one.in_trial, 2),
            )  # fmt: skip
            before = one.way
        parts.append(Fitting(table))
    parts.append(
        f"After quick tuning, {HOURS_A_DAY:g} h of load a day. given away: mean depth where honest, knob's unit. "
        "crashes: a unit, in use so far. honest: share of the claims whose true MTTF meets the goal under the bench "
        "load, and under the use itself (95 % interval in --json). on trial: share of the units whose trial goes on. "
        "`a tenth`, `three times`: use of so many times the bench load's hazard."
    )
    return parts


def _figure(value: float, digits: int) -> str:
    return "-" if value != value else f"{value:.{digits}f}"
