"""Logs that are as they should be, however they leap, keep every line and raise no question.

Parts that jump between the same clocks, that wake from a watt to a hundred, and loggers that leave last zeros out.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from surefoot.logs import read_log

N = 600
Columns = dict[str, np.ndarray]


def clocks(of: np.random.Generator) -> Columns:
    made = {f"Core {core} Clock [MHz]": of.choice([800.0, 1200.0, 3600.0, 4200.0, 4700.0], N) for core in range(8)}
    return made | {f"Core {core} Temp [°C]": np.round(of.normal(60, 8, N)) for core in range(8)}


def bursts(of: np.random.Generator) -> Columns:
    """Everything wakes and sleeps at once, every some seconds."""
    works = np.cumsum(of.random(N) < 0.08) % 2 == 1
    return {
        "CPU Package [°C]": np.round(np.where(works, 82, 44) + of.normal(0, 2, N), 1),
        "CPU Power [W]": np.round(np.where(works, 61.0, 1.3) * of.uniform(0.8, 1.2, N), 2),
        "CPU Clock [MHz]": np.round(np.where(works, 4100, 900) + of.normal(0, 60, N)),
        "GPU Temp [°C]": np.round(np.where(works, 71, 40) + of.normal(0, 1.5, N)),
        "GPU Power [W]": np.round(np.where(works, 108.0, 1.1) * of.uniform(0.8, 1.2, N), 2),
        "GPU Clock [MHz]": np.round(np.where(works, 2200, 210) + of.normal(0, 15, N)),
        "CPU Usage [%]": np.round(np.where(works, of.uniform(60, 100, N), of.uniform(0, 6, N)), 1),
        "GPU Usage [%]": np.round(np.where(works, of.uniform(90, 99, N), 0.0), 1),
        "Fan [RPM]": np.round(np.where(works, 4100, 1800) + of.normal(0, 40, N)),
    }


def alike(of: np.random.Generator) -> Columns:
    return {f"Core {core} Temp [°C]": np.round(of.uniform(40, 90, N), 1) for core in range(6)}


def noisy(of: np.random.Generator) -> Columns:
    return {
        "CPU Package [°C]": np.round(of.normal(70, 8, N), 1),
        "CPU Power [W]": np.round(20 + np.abs(of.normal(50, 30, N)), 2),
        "GPU Temp [°C]": np.round(of.normal(60, 5, N), 1),
        "GPU Power [W]": np.round(15 + np.abs(of.normal(80, 40, N)), 2),
        "Fan [RPM]": np.round(of.normal(1500, 200, N)),
        "CPU Usage [%]": np.round(of.uniform(0, 100, N), 1),
    }


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("written", ["all zeros", "no last zeros"])
@pytest.mark.parametrize("kind", [clocks, bursts, alike, noisy])
def test_every_line_is_kept(kind: Callable[[np.random.Generator], Columns], written: str, seed: int) -> None:
    columns = kind(np.random.default_rng(seed))
    digits = {name: max(len(f"{value:.10g}".partition(".")[2]) for value in of) for name, of in columns.items()}
    lines = ["Time," + ",".join(columns)]
    for row in range(N):
        cells = [
            f"{of[row]:.{digits[name]}f}" if written == "all zeros" else f"{of[row]:.10g}"
            for name, of in columns.items()
        ]
        lines.append(f"2031-11-20 10:{row // 60:02d}:{row % 60:02d}," + ",".join(cells))
    log = read_log(("\n".join(lines) + "\n").encode())
    assert len(log.trace) == N
    assert not log.problems and not log.questions
