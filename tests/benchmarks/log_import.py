"""How long a log takes to import against what `pandas.read_csv` alone takes on the same bytes.

Run by hand: `python tests/benchmarks/log_import.py [ROWS] [COLUMNS] [SHAPE]`. Both sides run in one process, in turn,
on logs generated here; a figure is the best of several, and beside the ratio of times stands that of processor time,
which a busy machine spoils less (the import parses on a second thread). pandas gets the parse settings ready made
(separator, decimal sign, lines to skip, encoding) and its default engine; the import has to find them, and makes a
trace in canonical channels of the result. The bounds that the project sets itself: 2.0 for the plain log, 3.0 with
units in the cells, 2.5 with bad cells; the others are shown beside them.
Last, a tiny log, its whole process (reading it, and the command that imports it) against starting Python with pandas:
1.5; and a sample of a growing log of 200 columns: 50 ms (``growing_log.py`` beside this).
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from surefoot.logs import read_log

BOUNDS = {"plain": 2.0, "units": 3.0, "a bad cell": 2.5}
TINY = 1.5


def _table(rows: int, columns: int) -> tuple[list[str], list[np.ndarray[Any, Any]], list[str]]:
    """Header texts, values and the format of each column but the time: what a laptop's sensors would say."""
    random = np.random.default_rng(3)
    kinds = (
        ("Core {n} Temperature [°C]", "%.1f", 45, 95),
        ("Core {n} Clock [MHz]", "%.1f", 800, 4800),
        ("Core {n} Power [W]", "%.3f", 1, 12),
        ("Core {n} Voltage [V]", "%.4f", 0.6, 1.3),
        ("Core {n} Usage [%]", "%.1f", 0, 100),
    )
    headers, values, formats = [], [], []
    for place in range(columns - 1):
        name, form, low, high = kinds[place % len(kinds)]
        headers.append(name.format(n=place // len(kinds)))
        walk = np.cumsum(random.normal(0, (high - low) / 300, rows))
        values.append(low + (high - low) * (0.5 + 0.5 * np.sin(walk / (high - low) * 3)))
        formats.append(form)
    return headers, values, formats


def _text(
    rows: int, columns: int, *, separator: str = ",", comma: bool = False, stamps: str = "%Y-%m-%d %H:%M:%S.%f",
    units_in_cells: bool = False, flags: int = 0, preamble: str = "", footer: str = "", bad_every: int = 0,
    quoted: bool = False, bad_columns: int = 10**9, bad: str = "#bad",
) -> str:  # fmt: skip
    headers, values, formats = _table(rows, columns)
    start = np.datetime64("2026-03-04T22:00:00.000")
    moments = pd.DatetimeIndex(start + np.arange(rows) * np.timedelta64(500, "ms"))
    parts = [np.array([text[:-3] if stamps.endswith("%f") else text for text in moments.strftime(stamps)])]
    for place, (header, column, form) in enumerate(zip(headers, values, formats, strict=True)):
        if place < flags:
            headers[place] = f"Core {place} Thermal Throttling"
            parts.append(np.where(column > np.quantile(column, 0.9), "Yes", "No"))
            continue
        cells = np.char.mod(form, column)
        if comma:
            cells = np.char.replace(cells, ".", ",")
        if units_in_cells:
            cells = np.char.add(cells, " " + header.partition("[")[2].rstrip("]"))
        if bad_every and place < bad_columns:
            cells = cells.astype(object)
            cells[place::bad_every] = bad
        parts.append(cells)
    wrap = '"{}"'.format if quoted else str
    lines = [separator.join(wrap(cell) for cell in row) for row in zip(*parts, strict=True)]
    return preamble + separator.join(["Time", *headers]) + "\n" + "\n".join(lines) + "\n" + footer


def _best(works: list[Callable[[], object]], times: int = 5) -> list[tuple[float, float]]:
    """Best wall-clock and processor seconds of each, taken in turn so that a busy machine hits all alike."""
    walls: list[list[float]] = [[] for _ in works]
    cpus: list[list[float]] = [[] for _ in works]
    for _ in range(times):
        for place, work in enumerate(works):
            start, cpu = time.perf_counter(), _cpu()
            work()
            walls[place].append(time.perf_counter() - start)
            cpus[place].append(_cpu() - cpu)
    return [(min(wall), min(cpu)) for wall, cpu in zip(walls, cpus, strict=True)]


def _cpu() -> float:
    """Processor seconds of this process and of those it started."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def _shapes(rows: int, columns: int) -> list[tuple[str, bytes, dict[str, Any]]]:
    plain = _text(rows, columns)
    local = _text(rows, columns, separator=";", comma=True, stamps="%d.%m.%Y %H:%M:%S")
    return [
        ("plain: comma, ISO stamps, UTF-8", plain.encode(), {}),
        ("semicolon, decimal comma, local dates, cp1252", local.encode("cp1252"),
         {"sep": ";", "decimal": ",", "encoding": "cp1252"}),
        ("UTF-16, tab", _text(rows, columns, separator="\t").encode("utf-16"), {"sep": "\t", "encoding": "utf-16"}),
        ("ten columns of yes and no", _text(rows, columns, flags=10).encode(), {}),
        ("preamble, footer, 12-hour stamps",
         _text(rows, columns, stamps="%m/%d/%Y %I:%M:%S %p", preamble="A log\nFrom a bench\n\n",
               footer="Average" + "," * (columns - 1) + "\n").encode(), {"skiprows": 3}),
        ("every cell quoted", _text(rows, columns, quoted=True).encode(), {}),
        ("a bad cell in each column every 20,000 rows", _text(rows, columns, bad_every=20000).encode(), {}),
        ("a bad cell in every 100th row", _text(rows, columns, bad_every=100, bad_columns=1).encode(), {}),
        ("a bad cell now and then in half the columns",
         _text(rows, columns, bad_every=3000, bad_columns=columns // 2, bad="ERR 7").encode(), {}),
        ("units inside the cells, some cells bad",
         _text(rows, columns, units_in_cells=True, bad_every=5000).encode(), {}),
        ("units inside the cells", _text(rows, columns, units_in_cells=True).encode(), {}),
    ]  # fmt: skip


def main() -> int:
    """Print one line a shape; exit 1 when the plain log is past the bound."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 200_000
    columns = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    only = sys.argv[3] if len(sys.argv) > 3 else ""
    print(f"{rows} rows, {columns} columns; pandas {pd.__version__}; best of five")
    print(f"{'shape':<46} {'MB':>5} {'pandas s':>9} {'import s':>9} {'ratio':>6} {'cpu':>6}")
    held = True
    for name, data, settings in _shapes(rows, columns):
        if only and only not in name:
            continue

        def alone(data: bytes = data, settings: dict[str, Any] = settings) -> object:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return pd.read_csv(io.BytesIO(data), **settings)

        (base, base_cpu), (ours, own_cpu) = _best([alone, partial(read_log, data)])
        ratio = ours / base
        bound = next((most for word, most in BOUNDS.items() if name.startswith(word)), None)
        said = "" if bound is None else f"  bound {bound}: {'held' if ratio <= bound else 'NOT held'}"
        held = held and (bound is None or ratio <= bound)
        print(
            f"{name:<46} {len(data) / 1e6:5.0f} {base:9.2f} {ours:9.2f} {ratio:6.2f} {own_cpu / base_cpu:6.2f}{said}",
            flush=True,
        )
    for what, ratio, cpu in _tiny():
        print(
            f"a tiny log, {what}: {ratio:.2f} of starting Python with pandas ({cpu:.2f} of its processor time), ",
            end="",
        )
        print(f"bound {TINY}: {'held' if ratio <= TINY else 'NOT held'}")
        held = held and ratio <= TINY
    print("a growing log of 200 columns:", flush=True)
    subprocess.run([sys.executable, str(Path(__file__).with_name("growing_log.py"))], check=True)
    return 0 if held else 1


def _tiny() -> list[tuple[str, float, float]]:
    """(what, ratio of times, ratio of processor times) of the whole process that reads a log of nine lines."""
    log = "Time,CPU Package [°C]\\n" + "".join(f"2031-05-04 09:00:{second:02d},{44 + second}\\n" for second in range(9))
    reading = f"from surefoot.logs import read_log; read_log('{log}'.encode())"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "tiny.csv"
        file.write_text(log.replace("\\n", "\n"), encoding="utf-8")
        card = Path(__file__).parents[2] / "examples" / "shoebox-3.toml"
        quiet: dict[str, Any] = {"check": True, "stdout": subprocess.DEVNULL, "stdin": subprocess.DEVNULL}
        quiet["env"] = {**os.environ, "SUREFOOT_HOME": folder}
        run: Callable[..., object] = partial(subprocess.run, **quiet)
        tool = [sys.executable, "-m", "surefoot"]
        run([*tool, "unit", "add", "box", "--from", str(card)])
        base, read, whole = _best(
            [
                partial(run, [sys.executable, "-c", "import pandas"]),
                partial(run, [sys.executable, "-c", reading]),
                partial(run, [*tool, "trace", "import", str(file), "--unit", "box", "--dry-run"]),
            ]
        )
    return [
        ("read_log", read[0] / base[0], read[1] / base[1]),
        ("the command `surefoot trace import`", whole[0] / base[0], whole[1] / base[1]),
    ]


if __name__ == "__main__":
    raise SystemExit(main())
