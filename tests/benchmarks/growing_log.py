"""What following a log costs: one sample at 200 columns, as milliseconds and as a share of a core at one a second.

``python tests/benchmarks/growing_log.py``
"""

from __future__ import annotations

import math
import tempfile
import time
from pathlib import Path

from surefoot.rig.sensors.growing_log import GrowingLog

COLUMNS, SAMPLES = 200, 300


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        names = ["Time", *(f"Core {number} Temperature [°C]" for number in range(COLUMNS - 1))]
        path.write_text(",".join(names) + "\n" + "".join(_line(number) for number in range(20)))
        began = time.perf_counter()
        log = GrowingLog(path)
        print(f"recognised {len(log.channels())} of {COLUMNS - 1} columns in {time.perf_counter() - began:.2f} s")
        wall, own, cpu = [], [], time.process_time()
        with path.open("a") as out:
            for number in range(SAMPLES):
                out.write(_line(20 + number))
                out.flush()
                began, spent = time.perf_counter(), time.process_time()
                log.read()
                wall.append(time.perf_counter() - began)
                own.append(time.process_time() - spent)
        cpu = time.process_time() - cpu
    wall.sort()
    print(f"one sample: median {wall[SAMPLES // 2] * 1e3:.2f} ms, worst {wall[-1] * 1e3:.2f} ms (bound 50); ", end="")
    print(f"its own time at worst {max(own) * 1e3:.2f} ms, the rest is waiting for a busy machine")
    print(f"at one sample a second: {cpu / SAMPLES:.2%} of a core (bound 1 %)")


def _line(number: int) -> str:
    # Each column goes its own way: a pattern that moves one column on with each line is a shifted row.
    cells = [f"{40 + 47 * column % 50 + math.sin(number / 9 + column):.1f}" for column in range(COLUMNS - 1)]
    return f"2031-05-04 {9 + number // 3600:02d}:{number // 60 % 60:02d}:{number % 60:02d}," + ",".join(cells) + "\n"


if __name__ == "__main__":
    main()
