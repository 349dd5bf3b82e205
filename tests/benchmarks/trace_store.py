"""Size and speed of a day's trace in the journal: 24 h, 30 channels, 1 Hz. Run by hand:

    python tests/benchmarks/trace_store.py

Prints the bytes it takes in the journal's file (target: at most 12 MB), and the time to load it into a DataFrame as a
ratio to `np.load` of the same data plus its DataFrame, both warm and in this process (target: at most 3 times). Once as
an imported trace and once as 8,640 heartbeats of ten samples. Two kinds of data: as sensors tell them (whole degrees,
MHz, rpm, watts to three decimals), and the worst case, noise to the last decimal of the grid in every channel.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan, Trace
from surefoot.units import Setting, Unit

SAMPLES = 24 * 3600
NAMES = (
    *(f"cpu.temperature.core-{i}" for i in range(8)),
    *(f"cpu.clock.core-{i}" for i in range(8)),
    "cpu.temperature",
    "cpu.power",
    "cpu.voltage",
    "cpu.busy",
    "gpu.temperature",
    "gpu.temperature.hotspot",
    "gpu.clock",
    "gpu.clock.memory",
    "gpu.power",
    "gpu.reasons",
    "chassis.fan.left",
    "chassis.fan.right",
    "battery.charge",
    "cpu.thermal-flag",
)


def as_sensors_tell(rng: np.random.Generator) -> dict[str, np.ndarray]:
    minutes = np.arange(SAMPLES) / 60
    heat = 55 + 25 * (1 - np.exp(-(minutes % 240) / 8))
    made: dict[str, np.ndarray] = {}
    for name in NAMES:
        quantity = name.split(".")[1]
        noise = rng.normal(size=SAMPLES)
        made[name] = {
            "temperature": np.rint(heat + 1.5 * noise),
            "clock": np.rint(3400 + 350 * noise),
            "power": np.round(53 + 4 * noise, 3),
            "voltage": np.round(0.95 + 0.02 * noise, 4),
            "busy": np.round(np.clip(97 + noise, 0, 100), 1),
            "reasons": rng.choice([0.0, 4.0, 0x20], SAMPLES),
            "fan": np.rint(3900 + 40 * noise),
            "charge": np.rint(80 - minutes / 60),
            "thermal-flag": (noise > 1.5).astype(float),
        }[quantity]
    return made


def noise_to_the_last_decimal(rng: np.random.Generator) -> dict[str, np.ndarray]:
    scale = {"temperature": (40, 100), "clock": (400, 5200), "power": (5, 180), "voltage": (0.6, 1.3)}
    return {name: rng.uniform(*scale.get(name.split(".")[1], (0, 5000)), SAMPLES) for name in NAMES}


def seconds(*acts: Callable[[], object], times: int = 15) -> list[float]:
    """The least time of each, taken in turns: on a busy machine both sides of a ratio then had their quiet moment."""
    least = [float("inf")] * len(acts)
    for _ in range(times):
        for place, act in enumerate(acts):
            began = time.perf_counter()
            act()
            least[place] = min(least[place], time.perf_counter() - began)
    return least


def file_bytes(journal: Journal) -> int:
    journal._store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    return journal.path.stat().st_size


def measure(folder: Path, what: str, channels: dict[str, np.ndarray]) -> None:
    path = folder / "same.npy"
    np.save(path, np.column_stack(list(channels.values())))
    times = np.arange(SAMPLES, dtype=float)

    def reference() -> pd.DataFrame:
        return pd.DataFrame(np.load(path), columns=list(channels), index=pd.Index(times, name="seconds"))

    with Journal.open(folder / f"{what.split()[0]}.sqlite") as journal:
        journal.add_unit(Unit(name="shoebox-3"))
        plan = RunPlan(unit_name="shoebox-3", setting=Setting(), load="cpu", planned_minutes=1440)
        empty = file_bytes(journal)
        imported = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=1440, judged_by="benchmark"))
        began = time.perf_counter()
        journal.add_trace(imported, Trace(times, channels))
        stored = time.perf_counter() - began
        after_import = file_bytes(journal)
        beaten = journal.open_run(plan)
        began = time.perf_counter()
        with journal._store.transaction():  # one flush for all: the disk's speed is not what is measured here
            for first in range(0, SAMPLES, 10):
                part = slice(first, first + 10)
                journal.heartbeat(
                    beaten, first / 60, Trace(times[part], {name: values[part] for name, values in channels.items()})
                )
        beating = (time.perf_counter() - began) / (SAMPLES / 10)
        after_beats = file_bytes(journal)
        for run_id in (imported, beaten):
            error = max(
                float(np.max(np.abs(values - channels[name])))
                for name, values in journal.trace(run_id).channels.items()
            )
            assert error <= 0.0005 + 1e-9, error
        base, plain_1, direct_1, plain_2, direct_2 = seconds(
            reference,
            lambda: journal.trace(imported).to_frame(),
            lambda: journal.trace_frame(imported),
            lambda: journal.trace(beaten).to_frame(),
            lambda: journal.trace_frame(beaten),
        )
        print(f"{what}: np.load and DataFrame {1000 * base:.1f} ms")
        for kind, size, plain, direct in (
            ("imported", after_import - empty, plain_1, direct_1),
            ("heartbeats", after_beats - after_import, plain_2, direct_2),
        ):
            print(
                f"  {kind:10}: {size / 1e6:5.2f} MB;"
                f" trace().to_frame() {1000 * plain:5.1f} ms = {plain / base:.2f} times;"
                f" trace_frame() {1000 * direct:5.1f} ms = {direct / base:.2f} times"
            )
        print(f"  storing    : import {1000 * stored:.0f} ms; a heartbeat {1000 * beating:.2f} ms without the flush")


if __name__ == "__main__":
    print(f"{SAMPLES} samples of {len(NAMES)} channels")
    with tempfile.TemporaryDirectory() as where:
        measure(Path(where), "sensors as they tell", as_sensors_tell(np.random.default_rng(1)))
        measure(Path(where), "noise to the last decimal", noise_to_the_last_decimal(np.random.default_rng(2)))
