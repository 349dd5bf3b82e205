"""A pool's making that is killed leaves a folder beside its target at most until the next one is made there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from surefoot.in_the_making import clear, making

KILLED = """
import sys, time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
import surefoot.pool.build as build
top, how = Path(sys.argv[1]), sys.argv[2]

def stuck(*words):
    print("in the middle", flush=True)
    time.sleep(600)

build.os.replace = stuck
if how == "build":
    build.build([top / "given.parquet"], top / "new.parquet")
else:
    from surefoot.pool.cluster import build_on
    with ThreadPoolExecutor(1) as pool:
        build_on(pool, [top / "given.parquet"], top / "new.parquet")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize("how", ["build", "build_on"])
def test_what_a_killed_build_left_is_cleared_by_the_next(how: str, tmp_path: Path) -> None:
    pytest.importorskip("duckdb")
    from surefoot.pool.build import build, write_rows
    from surefoot.pool.columns import COLUMNS

    pandas = pytest.importorskip("pandas")
    usual = {"VARCHAR": "a1", "DOUBLE": 10.0, "INTEGER": 1, "BOOLEAN": False}
    values = {column.name: usual[column.kind] for column in COLUMNS} | {"toward": "down"}
    temporary, top = tmp_path / "temporary", tmp_path / "top"
    temporary.mkdir()
    top.mkdir()
    write_rows(pandas.DataFrame([values]), top / "given.parquet")
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(top), how],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "TMPDIR": str(temporary)},
    )  # fmt: skip
    assert child.stdout is not None and child.stdout.readline().strip() == "in the middle"
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    left = [path for path in top.iterdir() if path.name != "given.parquet"]
    assert left and all(path.name.startswith(".pool-") for path in left), "killed in the middle, without a half pool"
    build([top / "given.parquet"], top / "new.parquet", spill=temporary)
    assert {path.name for path in top.iterdir()} == {"given.parquet", "new.parquet"}
    assert list(temporary.iterdir()) == []


def test_what_is_being_made_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".pool-01234567-1-other").mkdir()
    with making(tmp_path, ".pool") as mine:
        (mine / "part").write_text("half")
        clear(tmp_path, ".pool")
        with making(tmp_path, ".pool") as other:
            assert other != mine and (mine / "part").exists()
    assert [path.name for path in tmp_path.iterdir()] == [".pool-01234567-1-other"], "another machine's is its own"
