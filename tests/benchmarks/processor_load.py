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
from surefoot.rig.loads.session import WorkSession
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
began, spent, count = time.perf_counter(), time.process_time(), 0
while time.perf_counter() - began < seconds:
    np.matmul(a, b, out=c)
    count += 1
done = 2 * n**3 * count / 1e9
print(json.dumps([done / (time.perf_counter() - began), done / (time.process_time() - spent)]))
"""


def plain(n: int, seconds: float, sampler: Sampler) -> tuple[float, float, float]:
    """GFLOP/s of all processors together by the clock on the wall, the same by processor time, and watts (or nan)."""
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
        assert one.stdin is not None
        one.stdin.write("\n")
        one.stdin.flush()
    watts = watch(sampler, seconds)
    told = [json.loads(one.communicate()[0]) for one in crew]
    return sum(wall for wall, _ in told), sum(spent for _, spent in told), watts


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


def dense(seconds: float, sampler: Sampler) -> tuple[float, float, float]:
    """The load's own dense phase: as `plain`, every product checked; all that a worker does counts as its time."""
    seconds = min(seconds, DENSE.seconds)
    session = CpuLoad("cpu-heavy").start(seconds / 60)
    time.sleep(0.5)
    first = tally(session)
    watts = watch(sampler, seconds - 1.2)
    last = tally(session)
    while session.poll().state == "running":
        time.sleep(0.05)
    session.stop()
    wall = sum(work["dense"]["matrix"][0] for work in session.work()) / seconds
    rates = [(done - was) / (spent - before) for (was, before), (done, spent) in zip(first, last, strict=True)]
    return wall, sum(rates), watts


def tally(session: WorkSession) -> list[tuple[float, float]]:
    """Of each worker: products done, in GFLOP, and all the processor time that it took, from one and the same word."""
    while True:
        facts = list(session.cores().values())
        work = session.work()
        # A word may have come in between the two.
        if [fact.get("processor_seconds") for fact in session.cores().values()] == [
            fact.get("processor_seconds") for fact in facts
        ]:
            done = [each.get("dense", {}).get("matrix", (0.0,))[0] for each in work]
            return [(amount, fact.get("processor_seconds", 0.0)) for amount, fact in zip(done, facts, strict=True)]


def shares(turns: int) -> None:
    """Of each kernel's unchecked pace, how much is left with its check: processor time, turn about."""
    print("\nchecked pace over unchecked pace, by kernel (long units)")
    kernels = make_kernels(EVERY, stream_bytes(len(allowed_processors())))
    for name, kernel in kernels.items():
        spent: dict[bool, list[float]] = {True: [], False: []}
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
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument("--turns", type=int, default=15)
    given = asked.parse_args()
    sampler = Sampler(sensors())
    found = {n: plain(n, 2.0, sampler) for n in (512, 1024, 2048)}
    best = max(found, key=lambda n: found[n][0])
    # Turn about, because the machine may have other work.
    turns = [(plain(best, given.seconds, sampler), dense(given.seconds, sampler)) for _ in range(given.rounds)]
    print(f"plain products, n {best}, {len(allowed_processors())} processors; the load's dense phase, all checked")
    for name, place, unit in (("by the wall", 0, "GFLOP/s"), ("by processor time", 1, "GFLOP/s"), ("power", 2, "W")):
        one, other = (median(turn[side][place] for turn in turns) for side in (0, 1))
        ratio = median(turn[1][place] / turn[0][place] for turn in turns)
        print(f"  {name:18} {one:8,.1f} and {other:8,.1f} {unit}: {ratio:.1%}")
    shares(given.turns)


if __name__ == "__main__":
    main()
