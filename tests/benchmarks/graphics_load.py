"""How hot the graphics load runs, what its checks cost, and what it catches. Run by hand; reads sensors, sets nothing.

    python tests/benchmarks/graphics_load.py [--seconds 60] [--device NAME] [--faults 200]

The reference is the card maker's own library through PyTorch, single precision in full (no TF32), in the same minute
on the same card; power by NVML. Without either the ratios to it are left out.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import threading
import time
from collections import Counter
from statistics import median
from typing import Any

import psutil

from surefoot.rig.loads.fault import Fault
from surefoot.rig.loads.gpu.device import Device, adapters, choose
from surefoot.rig.loads.gpu.flight import Flight, Wrong
from surefoot.rig.loads.gpu.kernels import Flip
from surefoot.rig.loads.gpu.load import GpuLoad
from surefoot.rig.loads.gpu.programs import GPU_PROGRAMS
from surefoot.rig.loads.gpu.tuning import make_kernels, size_up
from surefoot.rig.loads.gpu.vram import LARGEST_CHUNK

REFERENCE = """
import json, sys, time, torch
torch.backends.cuda.matmul.allow_tf32 = False
kind, seconds = sys.argv[1], float(sys.argv[2])
if kind == "product":
    n = 8192
    a, b = (torch.randn(n, n, device="cuda") for _ in range(2))
    c = torch.empty(n, n, device="cuda")
    once, amount = lambda: torch.matmul(a, b, out=c), 2 * n**3 / 1e9
else:
    a = torch.empty(1 << 30, dtype=torch.uint8, device="cuda")
    b = torch.empty_like(a)
    once, amount = lambda: b.copy_(a), 2 * a.numel() / 1e9
for _ in range(5):
    once()
torch.cuda.synchronize()
began, wall, count = time.perf_counter(), time.time(), 0
while time.perf_counter() - began < seconds:
    for _ in range(8):
        once()
    torch.cuda.synchronize()
    count += 8
print(json.dumps({"rate": amount * count / (time.perf_counter() - began), "from": wall, "to": time.time()}))
"""


class Power:
    """Samples of the card's power and clock, each with the time; empty without NVML."""

    def __init__(self) -> None:
        self.samples: list[tuple[float, float, float]] = []
        try:
            import pynvml

            pynvml.nvmlInit()
            self._nvml, self._card = pynvml, pynvml.nvmlDeviceGetHandleByIndex(0)
        except Exception as error:  # noqa: BLE001 - whatever is missing, there is no power then
            print(f"no power: {error}")
            return
        threading.Thread(target=self._sample, daemon=True).start()

    def _sample(self) -> None:
        while True:
            watts = self._nvml.nvmlDeviceGetPowerUsage(self._card) / 1000
            self.samples.append((time.time(), watts, self._nvml.nvmlDeviceGetClockInfo(self._card, 0)))
            time.sleep(0.05)

    def between(self, start: float, end: float) -> float:
        """Median watts; nan when nothing was sampled."""
        seen = [watts for at, watts, _ in self.samples if start <= at <= end]
        return median(seen) if seen else float("nan")


def reference(kind: str, seconds: float, power: Power) -> tuple[float, float] | None:
    """The library's rate (GFLOP/s or GB/s) and watts, or None where it is not there."""
    command = [sys.executable, "-c", REFERENCE, kind, str(seconds)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        print(f"no reference for {kind}: {(done.stderr.strip().splitlines() or ['?'])[-1]}")
        return None
    told = json.loads(done.stdout)
    # The driver's power is a mean over some time: the second half only.
    return told["rate"], power.between((told["from"] + told["to"]) / 2, told["to"])


def run_load(name: str, device: str | None, seconds: float, power: Power, settle: float = 0.8) -> dict[str, Any]:
    """Run a load of the product's own; work, seconds and watts by phase."""
    program = GPU_PROGRAMS[name]
    began = time.perf_counter()
    session = GpuLoad(name, device=device).start(seconds / 60)
    start, epoch = time.perf_counter() - began, time.time() + 0.2
    while (state := session.poll()).state == "running":
        time.sleep(0.2)
    session.stop()
    watts: dict[str, list[float]] = {}
    for at, value, _ in power.samples:
        moment = program.at(at - epoch, 0, 1)
        # Not the first moments of a phase: the driver's power lags.
        if at > epoch and program.at(at - epoch - settle, 0, 1).phase == moment.phase:
            watts.setdefault(moment.phase, []).append(value)
    print(
        f"\n{name}: started in {start:.1f} s, ran {seconds:.0f} s: {state.state} {state.outcome or ''} {state.message}"
    )
    print(f"sized: {state.detail.get('graphics_sizes')}")
    work = session.work()[0]
    rates = {}
    for phase, kernels in work.items():
        for kernel, (amount, spent, lists) in kernels.items():
            rates[phase, kernel] = amount / spent
            wall = program.shares[phase] * seconds
            print(
                f"  {phase:8} {kernel:8} {amount / spent:10,.1f}/s of device time  busy {spent / wall:6.1%}"
                f"  {lists:5.0f} lists  {median(watts.get(phase, [float('nan')])):5.0f} W"
            )
    return {"rates": rates, "watts": {phase: median(values) for phase, values in watts.items()}, "state": state}


def overhead(kernels: dict[str, Any], device: Device, seconds: float) -> None:
    """The same kernel with and without its check, turn about."""
    print("\ncheck overhead (unchecked time over checked time, medians of turns)")
    for name, kernel in kernels.items():
        if name == "pattern":
            print("  pattern  the check is the reading: a pass reads, compares and writes")
            continue
        passes = 1
        times: dict[bool, list[float]] = {True: [], False: []}
        for turn in range(14):
            check = turn % 2 == 0
            work = device.work()
            batch = kernel.enqueue(work, turn, passes, None, check)
            began = time.perf_counter()
            device.submit(work).wait()
            spent = time.perf_counter() - began
            if turn >= 4:
                times[check].append(spent / passes)
            else:
                passes = max(1, min(kernel.most_passes // 4, round(passes * 0.15 / spent)))
            del batch
        share = median(times[False]) / median(times[True])
        print(f"  {name:8} {1 - share:6.1%} of the time goes into the check")


def flips(kernels: dict[str, Any], device: Device, count: int) -> None:
    """One bit turned over in one result, again and again, over all kernels."""
    chance = random.Random(2026)
    caught: Counter[str] = Counter()
    late, placed = 0.0, 0
    for number in range(count):
        name = chance.choice(list(kernels))
        share, bit = chance.random(), chance.randrange(32)
        flight = Flight(device)
        began = time.perf_counter()
        try:
            flight.send(kernels[name], "faults", number, min(4, kernels[name].most_passes), Flip(share, bit))
            flight.land(0)
        except Wrong as wrong:
            right_bit = int(wrong.error.expected, 16) ^ int(wrong.error.found, 16) == 1 << bit
            caught[name] += 1
            placed += wrong.error.kernel == name and right_bit
        late = max(late, time.perf_counter() - began)
    print(
        f"\nflipped bits: {sum(caught.values())} of {count} caught, {placed} with kernel and bit right, "
        f"the latest after {late:.2f} s; by kernel {dict(caught)}"
    )


def sessions(device: str | None) -> None:
    """Whole sessions with faults that take the worker or the device away."""
    for kind in ("lost", "stall", "spin", "freeze", "die"):
        session = GpuLoad("gpu-memory", device=device, fault=Fault(kind, after_units=2)).start(2)
        began = time.perf_counter()
        while (state := session.poll()).state == "running" and time.perf_counter() - began < 60:
            time.sleep(0.1)
        session.stop()
        print(f"  {kind:7} {time.perf_counter() - began:5.1f} s  {state.outcome}  {state.message[:90]}")


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--seconds", type=float, default=60)
    asked.add_argument("--memory-seconds", type=float, default=20)
    asked.add_argument("--device", default=None)
    asked.add_argument("--faults", type=int, default=200)
    given = asked.parse_args()
    power = Power()
    product = reference("product", 5, power)
    copy = reference("copy", 3, power)
    for name, found, unit in (("product", product, "GFLOP/s"), ("copy", copy, "GB/s")):
        if found:
            print(f"the library's {name}: {found[0]:,.0f} {unit}, {found[1]:.0f} W")
    hot = run_load("gpu", given.device, given.seconds, power)
    if product and copy:
        again = reference("product", 4, power) or product
        best = max(product[0], again[0])
        watts = max(product[1], again[1])
        print(
            f"\ndense: {hot['rates']['dense', 'product'] / best:.1%} of the library's throughput, "
            f"{hot['watts']['dense'] / watts:.1%} of its power"
        )
        print(
            f"mixed: {hot['rates']['mixed', 'mixed'] / best:.1%} of the throughput, "
            f"{hot['watts']['mixed'] / watts:.1%} of the power, "
            f"{hot['rates']['mixed', 'traffic'] / copy[0]:.1%} of the copy bandwidth beside it"
        )
        print(f"memory: {hot['rates']['memory', 'pattern'] / copy[0]:.1%} of the copy bandwidth, every word checked")
    whole = run_load("gpu-memory", given.device, given.memory_seconds, power)
    if copy:
        print(f"gpu-memory: {whole['rates']['memory', 'pattern'] / copy[0]:.1%} of the copy bandwidth")
    device = Device(choose(given.device or "", adapters()), LARGEST_CHUNK)
    names = GPU_PROGRAMS["gpu"].kernels
    sizes = size_up(device, names, psutil.virtual_memory().available, False, 1)
    kernels = make_kernels(device, names, sizes, 1)
    for kernel in kernels.values():
        kernel.prove()
    overhead(kernels, device, 1.0)
    flips(kernels, device, given.faults)
    print("\nsessions whose worker or device is taken away (seconds from the start of the load)")
    sessions(given.device)


if __name__ == "__main__":
    main()
