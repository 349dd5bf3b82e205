"""How a rehearsal of several knobs is shown; `surefoot rehearse --knobs`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from surefoot.cli.common import Fitting, show
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from rich.console import RenderableType

    from surefoot.rehearsal.knobs import KnobsMeasures


def show_knobs(
    units: int,
    seed: int,
    card: str,
    strategies: Sequence[str] | None,
    workers: int | None,
    as_json: bool,
    progress: AbstractContextManager[Callable[[int, int], None]],
    populations: object = None,
) -> None:
    """Play the strategies against units of several knobs and print what it cost and how honest the claims are."""
    from surefoot.rehearsal.knobs import compare_knobs

    if populations:
        raise BadInput(
            "--knobs has units of its own.", where="rehearse", remedy="Leave --population and --table out with it."
        )
    with progress as told:
        found = compare_knobs(
            units,
            seed,
            card=card,
            strategies=tuple(strategies or ("posterior", "ladder")),
            workers=workers,
            progress=told,
        )
    show({"units": units, "seed": seed, "knobs": found}, lambda: knobs_view(found), as_json)


def knobs_view(found: Sequence[KnobsMeasures]) -> list[RenderableType]:
    """A table of the strategies on one card of several knobs, and what its columns mean."""
    from rich.table import Table

    first = found[0]
    title = f"{first.card} knobs: {first.units} units, seed {first.seed}"
    table = Table(title=title, title_justify="left", pad_edge=False)
    table.add_column("strategy", no_wrap=True)
    for name in ("hours", "p90", "crash", "soft", "runs", "honest", "apart"):
        table.add_column(name, justify="right", no_wrap=True)
    for one in found:
        table.add_row(
            one.strategy, _number(one.hours, 2), _number(one.hours_p90, 2), _number(one.crashes, 2),
            _number(one.soft_failures, 2), _number(one.runs, 1), _number(one.honest, 3), _number(one.piecewise, 3),
        )  # fmt: skip
    gives = Table(title="given up where honest, against each knob's best alone", title_justify="left", pad_edge=False)
    gives.add_column("strategy", no_wrap=True)
    for name in first.give_away:
        gives.add_column(f"{name} ({first.knob_units[name]})", justify="right", no_wrap=True)
    for one in found:
        gives.add_row(one.strategy, *(_number(value, 1) for value in one.give_away.values()))
    words = (
        "hours, crash, soft (failures without a crash), runs: a unit. honest: share of the claims where the true MTTF "
        "of all knobs together meets the goal (95 % interval in --json). apart: the same had each knob's own claim "
        "been trusted without adding hazards up."
    )
    return [Fitting(table), Fitting(gives), words]


def _number(value: float, digits: int) -> str:
    return "-" if value != value else f"{value:.{digits}f}"
