"""Making a pool: rows of journals and pools of others brought together into one file, each unit once.

Out of core: DuckDB streams the Parquet files; what is kept in memory is a row a unit. A journal only ever grows, so
that of two inputs with the same unit and knob the one with more runs holds all that the other has.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput, MachineError
from surefoot.in_the_making import making
from surefoot.pool.columns import NAMES
from surefoot.pool.engine import MEMORY, SELECTED, check_pool, copy_words, engine, quoted, table_of

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

LINES = ", ".join(f'"{name}"' for name in NAMES)
SOUND = (
    "isfinite(depth) AND depth >= 0 AND isfinite(minutes) AND minutes >= 0 AND isfinite(step) AND step > 0 AND "
    "isfinite(most) AND most >= step AND failed IS NOT NULL AND unit <> '' AND toward IN ('down', 'up')"
)
"""What a row must be to be evidence; the rest is left out and counted."""


@dataclass(frozen=True, slots=True)
class Built:
    """What went into a pool. ``twice``: units of a knob found in more than one input, taken from the fullest;
    ``left_out``: rows that are no evidence."""

    path: Path
    units: int
    runs: int
    failures: int
    hours: float
    groups: int
    inputs: int
    twice: int
    left_out: int
    bytes: int


def write_rows(rows: pd.DataFrame, target: Path) -> None:
    """Write rows (columns of a pool) into one Parquet file, whole or not at all."""
    with engine() as connection:
        connection.register("given", rows)
        _written(connection, f"SELECT {SELECTED} FROM given", target)


def build(
    files: Sequence[Path],
    target: Path,
    *,
    overwrite: bool = False,
    memory: str = MEMORY,
    threads: int | None = None,
    spill: Path | None = None,
    told: Callable[[str], None] | None = None,
) -> Built:
    """Bring pools together into one, each unit once. The target is there whole, or not at all.

    Raises BadInput when there is nothing to build from, an input is no pool or the target is there already.
    """
    if not files:
        raise BadInput("there is nothing to build a pool from.", where="pool build")
    refuse_target(target, overwrite, files)
    say = told or (lambda _: None)
    with engine(memory=memory, threads=threads, spill=spill) as connection:
        for file in files:
            check_pool(connection, file)
        kept = "given"
        _views(connection, files)
        twice = 0
        if len(files) > 1:
            say("finding units that are in more than one input")
            twice = _fullest(connection)
            kept = (
                "(SELECT * FROM given ANTI JOIN dropped ON given.unit = dropped.unit AND given.knob = dropped.knob "
                "AND given.filename = dropped.filename)"
                if twice
                else kept
            )
        say("writing")
        _written(connection, f"SELECT {LINES} FROM {kept} WHERE {SOUND}", target)
        total = _count(connection, f"SELECT count(*) FROM {kept}") if twice else _rows_in(connection, files)
        return _summed(connection, target, len(files), twice, total)


def _views(connection: duckdb.DuckDBPyConnection, files: Sequence[Path]) -> None:
    name = ", filename" if len(files) > 1 else ""
    table = table_of(connection, files, filename=bool(name))
    connection.execute(f"CREATE VIEW given AS SELECT {SELECTED}{name} FROM {table}")


def _fullest(connection: duckdb.DuckDBPyConnection) -> int:
    """Find, for every unit and knob in more than one input, those from which it is not taken; how many there are."""
    connection.execute(
        "CREATE TEMP TABLE dropped AS SELECT unit, knob, filename FROM (SELECT unit, knob, filename, row_number() OVER "
        "(PARTITION BY unit, knob ORDER BY runs DESC, filename) AS place FROM (SELECT unit, knob, filename, "
        "count(*) AS runs FROM given GROUP BY ALL)) WHERE place > 1"
    )
    return _count(connection, "SELECT count(DISTINCT (unit, knob)) FROM dropped")


def _written(connection: duckdb.DuckDBPyConnection, query: str, target: Path) -> None:
    import duckdb

    try:
        with making(target.parent, ".pool") as folder:
            connection.execute(f"COPY ({query}) {copy_words(folder / 'part')}")
            os.replace(folder / "part", target)
    except (duckdb.IOException, OSError) as error:
        raise MachineError(f"the pool cannot be written: {error}.", where=str(target)) from None
    except duckdb.ConversionException as error:
        raise BadInput(f"an input has values of another kind than a pool's: {error}.", where="pool build") from None


def _summed(connection: duckdb.DuckDBPyConnection, target: Path, inputs: int, twice: int, total: int) -> Built:
    row = connection.execute(
        f"SELECT approx_count_distinct(unit), count(*), count(*) FILTER (failed), coalesce(sum(minutes), 0) / 60, "
        f"count(DISTINCT (platform, knob)) FROM read_parquet({quoted(target)})"
    ).fetchone()
    assert row is not None
    units, runs, failures, hours, groups = row
    if runs < EXACT_UNITS:
        units = _count(connection, f"SELECT count(DISTINCT unit) FROM read_parquet({quoted(target)})")
    return Built(
        target, int(units), int(runs), int(failures), float(hours), int(groups), inputs, twice,
        total - int(runs), target.stat().st_size,
    )  # fmt: skip


EXACT_UNITS = 100_000_000
"""Units are counted exactly up to so many rows; beyond, to within some per cent."""


def _rows_in(connection: duckdb.DuckDBPyConnection, files: Iterable[Path]) -> int:
    """How many rows the files hold, by their footers alone."""
    return sum(
        _count(connection, f"SELECT sum(num_rows)::BIGINT FROM parquet_file_metadata({quoted(file)})") for file in files
    )


def _count(connection: duckdb.DuckDBPyConnection, query: str) -> int:
    row = connection.execute(query).fetchone()
    return int(row[0] or 0) if row else 0


def refuse_target(target: Path, overwrite: bool, files: Sequence[Path] = ()) -> None:
    """Raises BadInput for a target that cannot be written, or that is there and not to be written over."""
    if target.is_dir():
        raise BadInput("this is a folder; a pool is a file.", where=str(target))
    if any(target.resolve() == file.resolve() for file in files):
        raise BadInput("this is one of the inputs.", where=str(target), remedy="Choose another name for the new pool.")
    if target.exists() and not overwrite:
        raise BadInput("there is a file of that name.", where=str(target), remedy="Choose another, or give --force.")
    if not target.parent.is_dir():
        raise BadInput("there is no such folder.", where=str(target.parent))
