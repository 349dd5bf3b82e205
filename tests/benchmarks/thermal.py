"""Limiter, steady state and heat on a 24-hour trace of 30 channels at 1 Hz: seconds, and ratio to one numpy pass.

Run by hand: python tests/benchmarks/thermal.py. The bar is 2 s for the three together (issue 3). The ratio to sorting
every channel once in the same run tells the machine's speed and load apart from the code's.
"""

from __future__ import annotations

import argparse
import json
import time

import numpy as np

from surefoot.runs import Trace
from surefoot.thermal.heat import coupling, heat_point
from surefoot.thermal.limiter import Limits, limiters
from surefoot.thermal.rc import LumpedModel
from surefoot.thermal.steady import steady_state
from surefoot.thermal.stretches import heat_points
from surefoot.thermal.summary import summarise

HOURS = 24
LIMITS = Limits({"cpu": 95.0, "gpu": 87.0}, {"cpu": 60.0})


def day(seed: int = 7) -> Trace:
    """A day on the bench: CPU, GPU, both and idle in turn by the half hour, 30 channels."""
    random = np.random.default_rng(seed)
    n = HOURS * 3600
    t = np.arange(n, dtype=float)
    phase = (t // 1800).astype(int) % 4
    cpu = np.choose(phase, [60.0, 12.0, 45.0, 4.0])
    gpu = np.choose(phase, [6.0, 80.0, 80.0, 5.0])
    model = LumpedModel.of(
        {"cpu": 12.0, "gpu": 25.0, "sink": 300.0}, {("cpu", "sink"): 2.0, ("gpu", "sink"): 4.0}, {"sink": 3.3}
    )
    celsius = model.simulate(t, np.column_stack([cpu, gpu, np.zeros(n)]), 22.0)
    noisy = lambda values, spread: values + spread * random.normal(size=n)  # noqa: E731
    channels = {
        "cpu.temperature": np.round(noisy(celsius[:, 0], 0.5)),
        "cpu.power": noisy(cpu, 0.3),
        "cpu.clock": noisy(np.choose(phase, [3900.0, 4200.0, 3500.0, 1200.0]), 15.0),
        "cpu.busy": np.clip(noisy(np.choose(phase, [100.0, 20.0, 100.0, 2.0]), 1.0), 0, 100),
        "cpu.voltage": noisy(np.full(n, 1.02), 0.004),
        "gpu.temperature": np.round(noisy(celsius[:, 1], 0.5)),
        "gpu.power": noisy(gpu, 0.5),
        "gpu.clock": noisy(np.choose(phase, [300.0, 1700.0, 1690.0, 300.0]), 8.0),
        "gpu.reasons": np.choose(phase, [1.0, 4.0, 4.0, 1.0]),
        "room.temperature": noisy(np.full(n, 22.0), 0.1),
        "fan.fan.left": noisy(np.full(n, 3400.0), 20.0),
        "fan.fan.right": noisy(np.full(n, 3300.0), 20.0),
    }
    for core in range(9):
        channels[f"cpu.clock.core-{core}"] = noisy(channels["cpu.clock"], 20.0)
        channels[f"cpu.temperature.core-{core}"] = np.round(noisy(celsius[:, 0], 1.0))
    assert len(channels) == 30
    return Trace(t, channels)


def timed(work: object, repeats: int) -> float:
    """The fastest of some repeats, seconds."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()  # type: ignore[operator]
        best = min(best, time.perf_counter() - start)
    return float(best)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    trace = day()
    seconds = trace.seconds

    def steady() -> None:
        for domain in ("cpu", "gpu"):
            steady_state(seconds, trace.channels[f"{domain}.temperature"])

    def heat() -> None:
        heat_point(trace)
        coupling(heat_points(trace))

    def one_pass() -> None:
        for values in trace.channels.values():
            np.sort(values)

    steps = {
        "limiter": lambda: limiters(trace, LIMITS),
        "steady state": steady,
        "heat": heat,
    }
    result = {name: timed(work, options.repeats) for name, work in steps.items()}
    result["together"] = sum(result.values())
    result["summary, beside them"] = timed(lambda: summarise(trace), options.repeats)
    base = timed(one_pass, options.repeats)
    if options.json:
        print(json.dumps({"seconds": result, "numpy sort of all channels": base, "bar": 2.0}, indent=2))
        return
    print(f"{len(trace)} samples, {len(trace.channels)} channels; fastest of {options.repeats}")
    for name, spent in result.items():
        print(f"{name:22} {spent:7.3f} s   {spent / base:6.2f} times one sort of every channel")
    print("bar: together under 2 s: " + ("met" if result["together"] < 2.0 else "NOT met"))


if __name__ == "__main__":
    main()
