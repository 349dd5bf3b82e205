"""DuckDB, opened within bounds: the one engine that reads and writes pools, out of core where they are large."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from surefoot.errors import BadInput, MachineError
from surefoot.in_the_making import making
from surefoot.pool.columns import COLUMNS, LATER, NAMES, VERSION

if TYPE_CHECKING:
    import duckdb

MEMORY = "2GB"
"""What DuckDB may use; beyond it, it spills to disk. The whole process stays below twice as much."""
SELECTED = ", ".join(f'CAST("{column.name}" AS {column.kind}) AS "{column.name}"' for column in COLUMNS)


@contextmanager
def engine(
    *, memory: str = MEMORY, threads: int | None = None, spill: Path | None = None
) -> Iterator[duckdb.DuckDBPyConnection]:
    """A DuckDB connection in memory that spills into a folder of its own. Raises MachineError without DuckDB."""
    try:
        import duckdb
    except ImportError:
        raise MachineError("a pool needs DuckDB.", remedy="pip install 'surefoot[pool]'") from None
    with making(spill, "surefoot-pool") as folder:
        connection = duckdb.connect(
            config={
                "memory_limit": memory,
                "threads": threads or min(os.cpu_count() or 1, 4),
                "temp_directory": str(folder),
                "preserve_insertion_order": False,
                "autoinstall_known_extensions": False,
                "autoload_known_extensions": False,
            }
        )
        try:
            yield connection
        finally:
            connection.close()


def quoted(path: str | os.PathLike[str]) -> str:
    """A path as a string of SQL."""
    return "'" + str(path).replace("'", "''") + "'"


def table_of(connection: duckdb.DuckDBPyConnection, files: Sequence[Path], *, filename: bool = False) -> str:
    """Pools as a table of SQL, with the columns that an older one may be without."""
    listed = ", ".join(quoted(file) for file in files)
    table = f"read_parquet([{listed}], union_by_name = true, filename = {'true' if filename else 'false'})"
    there = {row[0] for row in connection.execute(f"DESCRIBE SELECT * FROM {table}").fetchall()}
    more = "".join(
        f", coalesce({name}, {otherwise}) AS {name}" if name in there else f", {otherwise} AS {name}"
        for name, otherwise in LATER.items()
    )
    out = ", ".join(name for name in LATER if name in there)
    return f"(SELECT *{f' EXCLUDE ({out})' if out else ''}{more} FROM {table})"


def copy_words(target: Path) -> str:
    """The end of a COPY that writes a pool's file."""
    return (
        f"TO {quoted(target)} (FORMAT parquet, COMPRESSION zstd, COMPRESSION_LEVEL 1, ROW_GROUP_SIZE 122880, "
        f"KV_METADATA {{surefoot_pool: '{VERSION}'}})"
    )


def check_pool(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """See that a file is a pool. Raises BadInput saying what it is not."""
    import duckdb

    if not path.is_file():
        raise BadInput("there is no such file.", where=str(path), remedy="`surefoot pool build` makes one.")
    try:
        marked = connection.execute(
            f"SELECT decode(value) FROM parquet_kv_metadata({quoted(path)}) WHERE decode(key) = 'surefoot_pool'"
        ).fetchone()
        there = {
            row[0] for row in connection.execute(f"DESCRIBE SELECT * FROM read_parquet({quoted(path)})").fetchall()
        }
    except duckdb.Error:
        raise BadInput("this is not a pool: it is no Parquet file.", where=str(path)) from None
    missing = [name for name in NAMES if name not in there and name not in LATER]
    if missing:
        raise BadInput(f"this is not a pool: it has no column {missing[0]!r}.", where=str(path))
    if marked is not None and marked[0] != VERSION:
        raise BadInput(
            f"it is a pool of format {marked[0]}, and this Surefoot reads format {VERSION}.",
            where=str(path),
            remedy="Install a newer Surefoot, or ask for the pool in the older format.",
        )
