"""Journals, bundles and pools brought into one pool; and what a pool lends a unit of a journal."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput, SurefootError
from surefoot.journal import Journal
from surefoot.journal.bundle_merge import mark
from surefoot.pool.columns import COLUMNS
from surefoot.pool.evidence import Known, code, frame, rows_of
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
    return "\n".join(mark(journal.store, unit.name))


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


def pool_of(unit: Unit, given: Path | None) -> Path | None:
    """The pool to use: the one given, else the card's, else none."""
    if given is not None:
        return given.expanduser()
    return Path(unit.pool).expanduser() if unit.pool else None


def goal_with_pool(journal: Journal, unit: Unit, goal: Goal, given: Path | None, load: str | None = None) -> Goal:
    """The goal with what the pool given, or the card's, lends the unit; as it is where there is none.

    A unit is never lent its own runs. Raises BadInput when the file is no pool, or it knows nothing of the unit's kind.
    """
    path = pool_of(unit, given)
    if path is None:
        return goal
    from surefoot.pool.lending import kind_of, lent_to

    loads = {knob.name: load for knob in unit.leaders()} if load else None
    lent = lent_to(path, unit, loads=loads, without=code(identity(journal, unit)))
    if lent is None:
        kinds = ", ".join(sorted({kind_of(unit, knob).platform for knob in unit.leaders()}))
        raise BadInput(
            f"the pool knows no unit like {unit.name!r} (platform: {kinds}).",
            where=str(path),
            remedy="`surefoot pool show FILE` lists what it knows. Tune without it, or name the platform on the card.",
        )
    return replace(goal, lent=lent)


def goal_with_card_pool(journal: Journal, unit: Unit, goal: Goal) -> tuple[Goal, str]:
    """As `goal_with_pool` with the card's pool; where that cannot be used, the goal as it is, and why, in words."""
    try:
        return goal_with_pool(journal, unit, goal, None), ""
    except SurefootError as error:
        return goal, f"the card's pool cannot be used ({error.what.rstrip('.')}); what it lent is left out"


def pool_words(goal: Goal) -> list[str]:
    """What a pool lends before the first run, by knob, in words; [] without one."""
    if goal.lent is None:
        return []
    found = []
    for name, prior in goal.lent.priors:
        edges = [part.edge for part in prior.parts]
        spread = (max(edges) - min(edges)) / 2.0 + sum(part.edge_spread for part in prior.parts) / len(prior.parts)
        found.append(
            f"The pool {goal.lent.pool} lends {name}: edges of {prior.units} units ({prior.group}) lie about "
            f"{sum(edges) / len(edges):.0f} deep, give or take {spread:.0f}; it weighs {prior.weight:.0%} against "
            "knowing nothing. No setting is copied."
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
