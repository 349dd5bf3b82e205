"""A pool of very many units built out of core: memory, and time over DuckDB's own reading of the same columns.

    python tests/benchmarks/pool_scale.py [UNITS] [RUNS PER UNIT] [FOLDER]

The evidence is made in chunks (one file a chunk of units, as shops would send them), then built into one pool in a
process of its own whose greatest resident memory is measured. The time is told as a ratio to a scan of the same files
by DuckDB that reads every column.

Seen, two shared cores: 1,000,000 units, 50,000,000 runs in 20 files of 0.15 GB: read 26.8 s, build 78.2 s, 2.9 times as
long; greatest memory 2.11 GB. The made-up evidence packs far better than real evidence would.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from surefoot.pool.build import build
from surefoot.pool.columns import COLUMNS
from surefoot.pool.engine import copy_words, engine, quoted

CHUNK_UNITS = 50_000


def make(folder: Path, units: int, runs: int) -> list[Path]:
    """Files of made-up evidence: edges normal around 110 mV, runs climbing to the edge and holding behind it."""
    files = []
    with engine() as connection:
        for at, start in enumerate(range(0, units, CHUNK_UNITS)):
            end = min(start + CHUNK_UNITS, units)
            file = folder / f"shop-{at:04}.parquet"
            connection.execute(
                f"""COPY (SELECT printf('%016x', u) AS unit, 'shop {at % 7}' AS source, '2026-0' || (u % 9 + 1) AS month
                , 'third arch ' || (u % 40) AS platform, 'third arch' AS family, 'cpu' AS domain, 'core' AS knob,
                'mV' AS measure, 'down' AS toward, 5.0 AS step, 250.0 AS most, n AS number, depth,
                1.0 + (hash(u * 1000 + n) % 300) / 10.0 AS minutes, depth > edge AS failed, true AS timed,
                false AS soft, false AS use,
                CASE WHEN depth > edge THEN 'reset' ELSE 'held' END AS outcome, 'gear-check' AS load,
                20.0 + u % 8 AS ambient_celsius, 'workbench' AS power_mode, 'R-0.93' AS firmware, NULL AS driver
                FROM (SELECT u, n, 5.0 * (hash(u * 77 + n) % 40) AS depth, 60.0 + hash(u) % 100 AS edge
                FROM range({start}, {end}) AS a(u), range(1, {runs + 1}) AS b(n))) {copy_words(file)}"""
            )
            files.append(file)
    return files


def read(files: list[Path]) -> float:
    """Seconds for DuckDB to read every column of the files."""
    listed = ", ".join(map(quoted, files))
    sums = ", ".join(f'max("{column.name}")' for column in COLUMNS)
    with engine() as connection:
        began = time.perf_counter()
        connection.execute(f"SELECT {sums} FROM read_parquet([{listed}])").fetchall()
        return time.perf_counter() - began


def main() -> None:
    """Make, read, build in a child, tell."""
    if sys.argv[1:2] == ["--build"]:
        files = sorted(Path(sys.argv[2]).glob("shop-*.parquet"))
        began = time.perf_counter()
        done = build(files, Path(sys.argv[2]) / "pool.parquet", overwrite=True, spill=Path(sys.argv[2]))
        seconds = time.perf_counter() - began
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        sys.stdout.write(f"{seconds} {peak} {done.units} {done.runs}\n")
        return
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 50
    with tempfile.TemporaryDirectory(prefix="pool-scale-", dir=sys.argv[3] if len(sys.argv) > 3 else None) as place:
        folder = Path(place)
        files = make(folder, units, runs)
        size = sum(file.stat().st_size for file in files) / 1e9
        command = [sys.executable, __file__, "--build", str(folder)]
        read(files)
        seconds = min(read(files) for _ in range(3))
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split()
        sys.stdout.write(
            f"{int(told[2]):,} units, {int(told[3]):,} runs in {len(files)} files of {size:.2f} GB\n"
            f"read, every column: {seconds:.1f} s (DuckDB); build: {float(told[0]):.1f} s, "
            f"{float(told[0]) / seconds:.1f} times as long; greatest memory {float(told[1]):.2f} GB\n"
        )


if __name__ == "__main__":
    main()
