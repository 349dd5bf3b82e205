"""How hot the processor load runs, and what its checks cost. Run by hand; reads sensors, sets nothing.

    python tests/benchmarks/processor_load.py [--seconds 8]

The reference is the numeric library's own product of random matrices, nothing checked, one pinned process on every
processor, at the best of some sizes, in the same minute; power by the kernel's energy counters where there are any.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from statistics import median

os.environ.update(dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"))

from surefoot.rig.loads.cpu import CpuLoad, stream_bytes
from surefoot.rig.loads.kernels import leave_alone, make_kernels
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.program import DENSE, EVERY
from surefoot.rig.registry import sensors
from surefoot.rig.sampler import Sampler

PLAIN = """
import json, os, sys, time
os.sched_setaffinity(0, {int(sys.argv[1])})
import numpy as np
n, seconds = int(sys.argv[2]), float(sys.argv[3])
a, b = np.random.default_rng(1).standard_normal((2, n, n))
c = np.empty((n, n))
np.matmul(a, b, out=c)
sys.stdin.readline()
began, count = time.perf_counter(), 0
while time.perf_counter() - began < seconds:
    np.matmul(a, b, out=c)
    count += 1
print(json.dumps(2 * n**3 * count / 1e9 / (time.perf_counter() - began)))
"""


def plain(n: int, seconds: float, sampler: Sampler) -> tuple[float, float]:
    """GFLOP/s of all processors together, and watts (nan where they are not measured)."""
    crew = [
        subprocess.Popen(
            [sys.executable, "-c", PLAIN, str(number), str(n), str(seconds)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for number in allowed_processors()
    ]
    time.sleep(1.0)
    for one in crew:
        one.stdin.write("\n")
        one.stdin.flush()
    watts = watch(sampler, seconds)
    return sum(json.loads(one.communicate()[0]) for one in crew), watts


def watch(sampler: Sampler, seconds: float) -> float:
    """Median watts of the processor over the second half of the time."""
    sampler.read()
    time.sleep(seconds / 2)
    seen = []
    until = time.monotonic() + seconds / 2 - 0.3
    while time.monotonic() < until:
        if "cpu.power" in (sample := sampler.read()):
            seen.append(sample["cpu.power"])
        time.sleep(0.3)
    return median(seen) if seen else float("nan")


def dense(seconds: float, sampler: Sampler) -> tuple[float, float]:
    """The load's own dense phase: checked GFLOP/s of all processors together, by the clock on the wall, and watts."""
    seconds = min(seconds, DENSE.seconds)
    session = CpuLoad("cpu-heavy").start(seconds / 60)
    watts = watch(sampler, seconds)
    while session.poll().state == "running":
        time.sleep(0.05)
    session.stop()
    return sum(work["dense"]["matrix"][0] for work in session.work()) / seconds, watts


def shares(turns: int) -> None:
    """Of each kernel's unchecked pace, how much is left with its check: processor time, turn about."""
    print("\nchecked pace over unchecked pace, by kernel (long units)")
    kernels = make_kernels(EVERY, stream_bytes(len(allowed_processors())))
    for name, kernel in kernels.items():
        spent = {True: [], False: []}
        kernel.run((1, 0), True)
        for turn in range(turns):
            for check in (True, False) if turn % 2 else (False, True):
                began = time.process_time()
                done = kernel.run((1, turn), True, leave_alone, check)
                spent[check].append((time.process_time() - began) / done)
        share, pace = median(spent[False]) / median(spent[True]), 1 / median(spent[True])
        print(f"  {name:12} {share:7.1%}   {pace:9,.2f} {kernel.work_unit}/s")


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--seconds", type=float, default=8)
    asked.add_argument("--turns", type=int, default=15)
    given = asked.parse_args()
    sampler = Sampler(sensors())
    found = {n: plain(n, 2.0, sampler) for n in (512, 1024, 2048)}
    best = max(found, key=lambda n: found[n][0])
    # The reference before and after, because the machine may have other work.
    before = plain(best, given.seconds, sampler)
    ours = dense(given.seconds, sampler)
    after = plain(best, given.seconds, sampler)
    rate, watts = max(before[0], after[0]), max(before[1], after[1])
    processors = len(allowed_processors())
    print(f"plain products, n {best}, {processors} processors: {rate:,.1f} GFLOP/s, {watts:.0f} W")
    print(f"the load's dense phase, every product checked: {ours[0]:,.1f} GFLOP/s, {ours[1]:.0f} W")
    print(f"share of the work: {ours[0] / rate:.1%}; share of the power: {ours[1] / watts:.1%}")
    shares(given.turns)


if __name__ == "__main__":
    main()
