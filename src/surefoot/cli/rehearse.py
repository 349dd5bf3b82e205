"""`surefoot rehearse`: the search played against virtual units, and what it costs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from surefoot.cli.common import Fitting, JsonFlag, console, show
from surefoot.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable
    from concurrent.futures import Executor
    from contextlib import AbstractContextManager

    from rich.console import RenderableType

    from surefoot.rehearsal.measures import Measures


def register(app: typer.Typer) -> None:
    """Add `rehearse`."""
    app.command("rehearse")(rehearse)


def rehearse(
    units: Annotated[int, typer.Option("--units", min=1, help="How many virtual units of each population.")] = 100,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Same seed, same units, same luck.")] = 1,
    population: Annotated[
        list[str] | None,
        typer.Option("--population", metavar="NAME", help="May be given again; `all` for every one."),
    ] = None,
    strategy: Annotated[
        list[str] | None,
        typer.Option(
            "--strategy", metavar="NAME", help="May be given again: posterior, ladder, bisection, ladder-back-N, ..."
        ),
    ] = None,
    effort: Annotated[
        list[str] | None,
        typer.Option("--effort", metavar="NAME", help="May be given again: quick, usual, thorough. Default: usual."),
    ] = None,
    table: Annotated[
        bool, typer.Option("--table", help="The whole benchmark: every population and effort, the ladder beside it.")
    ] = False,
    knobs: Annotated[
        str | None,
        typer.Option("--knobs", metavar="CARD", help="Units of several knobs instead: `two` or `three`."),
    ] = None,
    use: Annotated[
        int | None,
        typer.Option("--use", metavar="DAYS", min=1, help="Live with the units for so many days after quick tuning."),
    ] = None,
    use_hazard: Annotated[
        list[str] | None,
        typer.Option(
            "--use-hazard",
            metavar="KIND",
            help="With --use: `bench`, `tenth`, `three` or `all`; may be given again.",
        ),
    ] = None,
    pool: Annotated[bool, typer.Option("--pool", help="With a pool of such units, and without: the table.")] = False,
    dask: Annotated[
        str | None, typer.Option("--dask", metavar="ADDRESS", help="Play on the Dask cluster there.")
    ] = None,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Processes; the result does not depend on it.")
    ] = None,
    as_json: JsonFlag = False,
) -> None:
    """Play search strategies against virtual units: bench hours, crashes, and how honest their claims are."""
    if dask is not None and (knobs is not None or use is not None or table):
        raise BadInput(
            "--dask plays the plain rehearsal or --pool.", where="rehearse", remedy="Leave out --knobs, --use, --table."
        )
    if knobs is not None:
        from surefoot.cli.rehearse_knobs import show_knobs

        return show_knobs(units, seed, knobs, strategy, workers, as_json, _progress(), population or table)
    if use is not None:
        from surefoot.cli.rehearse_use import show_use

        return show_use(units, seed, use, population, use_hazard, workers, as_json, _progress())
    if pool:
        from surefoot.cli.rehearse_pool import show_pool

        return show_pool(units, seed, workers, dask, as_json, _progress())
    from surefoot.rehearsal.benchmark import benchmark
    from surefoot.rehearsal.measures import rehearse as play
    from surefoot.rehearsal.populations import POPULATIONS

    with _progress() as told, _place(dask) as executor:
        if table:
            found = benchmark(units, seed, workers=workers, progress=told)
        else:
            wanted = tuple(POPULATIONS) if population and "all" in population else tuple(population or ["reference"])
            found = play(
                units, seed, populations=wanted, strategies=tuple(strategy or ["posterior", "ladder"]),
                efforts=tuple(effort or ()),
                workers=workers, executor=executor, progress=told,
            )  # fmt: skip
    show({"units": units, "seed": seed, "measures": found}, lambda: _view(found, units, seed), as_json)


def _place(dask: str | None) -> AbstractContextManager[Executor | None]:
    """Where it is played: the cluster at an address, or None for here."""
    from contextlib import nullcontext

    if dask is None:
        return nullcontext()
    from surefoot.pool.cluster import cluster

    return cluster(dask)


def _progress() -> AbstractContextManager[Callable[[int, int], None]]:
    """A bar on standard error where that is a terminal, nothing elsewhere."""
    from collections.abc import Iterator
    from contextlib import contextmanager

    @contextmanager
    def shown() -> Iterator[Callable[[int, int], None]]:
        from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

        err = console(stderr=True)
        if not err.is_terminal:
            yield lambda done, total: None
            return
        columns = (TextColumn("units played"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=err, transient=True) as bar:
            task = bar.add_task("units", total=None)
            yield lambda done, total: bar.update(task, completed=done, total=total)

    return shown()


def _view(found: list[Measures], units: int, seed: int) -> list[RenderableType]:
    from rich.table import Table

    parts: list[RenderableType] = []
    for population in dict.fromkeys(one.population for one in found):
        there = [one for one in found if one.population == population]
        ladder = next((one for one in there if one.strategy == "ladder"), None)
        table = Table(title=f"{population}: {units} units, seed {seed}", title_justify="left", pad_edge=False)
        table.add_column("strategy", max_width=18, overflow="fold")  # so that the figures are never cut at 80 columns
        for name in ("hours", "of it", "crash", "runs", "honest", "give", "room", "past"):
            table.add_column(name, justify="right", no_wrap=True)
        for one in there:
            table.add_row(one.title, *_cells(one, ladder))
        parts.append(Fitting(table))
    parts.append(
        "hours, crash, runs: a unit, mean (90th percentiles in --json). of it: hours over the ladder's. honest: "
        "share of the claims whose true MTTF meets the goal (95 % interval in --json). give: mean depth given up where "
        "honest, in the knob's unit. room: of the units whose best depth is a step or more, the share with a claim of "
        "a step or more. past: deepest run past the edge."
    )
    return parts


def _cells(one: Measures, ladder: Measures | None) -> list[str]:
    def number(value: Any, digits: int) -> str:
        return "-" if value != value else f"{value:.{digits}f}"

    of_it = one.hours / ladder.hours if ladder is not None else float("nan")
    return [
        number(one.hours, 2), number(of_it, 2), number(one.crashes, 2), number(one.runs, 1),
        number(one.honest, 3), number(one.give_away, 1), number(one.roomy, 2), number(one.overshoot, 0),
    ]  # fmt: skip
