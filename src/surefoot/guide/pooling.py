"""Journals, bundles and pools brought into one pool; and what a pool lends a unit of a journal."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput, SurefootError
from surefoot.journal import Journal
from surefoot.pool.columns import COLUMNS
from surefoot.pool.door import lent_by_card, lent_goal
from surefoot.pool.evidence import Known, frame, rows_of
from surefoot.pool.kinds import BY
from surefoot.search import Goal
from surefoot.units import Unit

if TYPE_CHECKING:
    import pandas as pd

    from surefoot.pool.build import Built

SQLITE_NAMES = (".sqlite", ".db", ".bundle", ".surefoot")


@dataclass(frozen=True)
class Shared:
    """What would be in a pool's file, for the eyes of who shares it. ``texts``: by column, every text in it;
    ``refused``: inputs that could not be read and why, in words."""

    units: int
    runs: int
    texts: dict[str, tuple[str, ...]]
    refused: tuple[str, ...]


def identity(journal: Journal, unit: Unit) -> str:
    """What two copies of a unit share: when it was entered, and its first card."""
    return journal.identity(unit.name)


def found_inputs(paths: Sequence[Path]) -> tuple[list[Path], list[Path]]:
    """The journals or bundles and the pools among files and folders, sorted. Raises BadInput when one is not there."""
    journals: list[Path] = []
    pools: list[Path] = []
    for path in paths:
        if not path.exists():
            raise BadInput("there is no such file or folder.", where=str(path))
        files = sorted(file for file in path.rglob("*") if file.is_file()) if path.is_dir() else [path]
        for file in files:
            if file.suffix == ".parquet":
                pools.append(file)
            elif not path.is_dir() or _is_sqlite(file):
                journals.append(file)
    if not journals and not pools:
        raise BadInput("no journal, bundle or pool was found there.", where=", ".join(map(str, paths)))
    return journals, pools


def _is_sqlite(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(16) == b"SQLite format 3\x00"


def rows_from(
    journals: Iterable[Path], *, by: str = BY, told: Callable[[str], None] | None = None
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The rows of every unit in journals and bundles, and what could not be read, in words."""
    rows = []
    refused = []
    for file in journals:
        if told:
            told(f"reading {file.name}")
        try:
            with Journal.open(file, read_only=True) as journal:
                for unit in journal.units(retired=True):
                    known = Known(unit, tuple(journal.runs(unit.name)), identity(journal, unit), _source(journal))
                    rows += rows_of(known, by=by)
        except SurefootError as error:
            refused.append(f"{file.name}: {error.what}")
    return frame(rows), tuple(refused)


def _source(journal: Journal) -> str:
    """What a journal is known by: when its first unit was entered."""
    row = journal.store.row("SELECT min(added_at) AS at FROM units")
    return str(row["at"]) if row else ""


def look(rows: pd.DataFrame, refused: tuple[str, ...]) -> Shared:
    """What is in rows that are to be written, every text of it."""
    codes = ("unit", "source", "month")
    names = [column.name for column in COLUMNS if column.kind == "VARCHAR" and column.name not in codes]
    texts = {str(name): tuple(sorted({str(text) for text in rows[name].dropna()} - {""})) for name in names}
    return Shared(
        int(rows["unit"].nunique()), len(rows), {name: found for name, found in texts.items() if found}, refused
    )


def build_pool(
    rows: pd.DataFrame,
    pools: Sequence[Path],
    target: Path,
    *,
    overwrite: bool = False,
    told: Callable[[str], None] | None = None,
    dask: str | None = None,
) -> Built:
    """Write rows and other pools as one pool, each unit once; ``dask``: on the cluster there. Raises BadInput
    when there is nothing in them."""
    from surefoot.pool.build import build, refuse_target, write_rows

    refuse_target(target, overwrite, pools)
    if rows.empty and not pools:
        raise BadInput("none of the units there has a run that counts.", where="pool build")
    with tempfile.TemporaryDirectory(prefix="surefoot-pool-") as folder:
        made = Path(folder) / "journals.parquet"
        if not rows.empty:
            write_rows(_once(rows), made)
        files = [*([made] if not rows.empty else []), *pools]
        if dask:
            from surefoot.pool.cluster import build_on, cluster

            with cluster(dask) as executor:
                return build_on(executor, files, target, overwrite=overwrite)
        return build(files, target, overwrite=overwrite, told=told)


def _once(rows: pd.DataFrame) -> pd.DataFrame:
    """Each unit and knob from the source that has most of it: a bundle and its journal may both be here."""
    counts = rows.groupby(["unit", "knob", "source"], sort=True).size().reset_index(name="runs")
    best = counts.sort_values(["runs", "source"], ascending=[False, True]).drop_duplicates(["unit", "knob"])
    return rows.merge(best[["unit", "knob", "source"]], on=["unit", "knob", "source"]).drop_duplicates(
        ["unit", "knob", "number"]
    )


def goal_with_pool(
    journal: Journal, unit: Unit, goal: Goal, given: Path | None = None, load: str | None = None
) -> Goal:
    """As `pool.door.lent_goal`, for a unit of a journal."""
    return lent_goal(unit, goal, journal.identity(unit.name), given, load)


def goal_with_card_pool(journal: Journal, unit: Unit, goal: Goal) -> tuple[Goal, str]:
    """As `pool.door.lent_by_card`, for a unit of a journal."""
    return lent_by_card(unit, goal, journal.identity(unit.name))


def remember_pool(journal: Journal, unit: Unit, given: Path | None, forget: bool = False) -> tuple[Unit, str]:
    """The card with the pool that was given, as it is now in the journal; and what was done, in words, "" for nothing.

    The claim that a session ends with is then what recall, use and the report say later. ``forget``: the card's pool
    is taken off. Raises BadInput for both at once.
    """
    if forget and given is not None:
        raise BadInput("a pool was given, and that none is to be used.", remedy="Give one of them.")
    wanted = "" if forget else str(given.expanduser().resolve()) if given is not None else unit.pool
    if wanted == unit.pool:
        return unit, ""
    changed = unit.model_copy(update={"pool": wanted})
    journal.revise_unit(changed)
    if forget:
        return changed, "The card names no pool any more: claims rest on this unit's own runs."
    return changed, f"The card names the pool now, and every claim counts it: {wanted}. `tune --no-pool` takes it off."


def pool_words(unit: Unit, goal: Goal) -> list[str]:
    """What a pool lends before the first run, by knob of the unit, in words; [] without one."""
    if goal.lent is None:
        return []
    found = []
    for name, prior in goal.lent.priors:
        found.append(
            f"The pool {goal.lent.pool} lends {name}: edges of {prior.units} units ({prior.group}) lie about "
            f"{prior.edge_mean:.0f} {unit.knob(name).unit} deep, give or take {prior.edge_deviation:.0f}; it weighs "
            f"{prior.weight:.0%} against knowing nothing. No setting is copied."
        )
    return found


def unlike_words(journal: Journal, unit: Unit, goal: Goal) -> list[str]:
    """For each knob with a failure, whether the unit is like the pool's: told, not hidden."""
    if goal.lent is None:
        return []
    from surefoot.pool.checks import likeness
    from surefoot.pool.lending import wide_on
    from surefoot.pool.likelihood import fit_grid
    from surefoot.search import run_evidence

    runs = journal.runs(unit.name)
    found = []
    for name, prior in goal.lent.priors:
        knob = unit.knob(name)
        alike = likeness(knob, run_evidence(unit, runs, name), prior, wide_on(fit_grid(knob), knob))
        if alike is not None:
            found.append(alike.says)
    return found
