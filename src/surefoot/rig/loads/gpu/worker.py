"""The worker of the graphics load: a process of its own, so that a driver that takes its client down takes only this.

Started with ``python -m``: with a job as every worker, or with ``--list`` to name the devices there are.
"""

from __future__ import annotations

import sys
import time
from functools import partial
from typing import Any

from surefoot.rig.loads.child import (
    BEAT_SECONDS,
    IDLE_SLICE_SECONDS,
    Stopping,
    await_start,
    run,
    say,
    shield,
)
from surefoot.rig.loads.ledger import Ledger, comes_wrong_again

LONG_SECONDS = 0.06
SHORT_SECONDS = 0.012
MOST_PASSES = 4096
# Between two halves of what a card has, and what a software device can do in the same time.
CARD = {"n": 1024, "invocations": 65536, "memory": 256 << 20}
SOFTWARE = {"n": 256, "invocations": 2048, "memory": 8 << 20}


def main(job: dict[str, Any]) -> int:
    """Be the worker that the job describes. Returns the exit code."""
    shield()
    from surefoot.rig.loads.fault import Fault, Saboteur
    from surefoot.rig.loads.gpu.device import Device, adapters, choose
    from surefoot.rig.loads.gpu.programs import GPU_KERNELS, GPU_PROGRAMS, make_kernels
    from surefoot.rig.loads.kernels.base import WrongResult

    program = GPU_PROGRAMS[job["program"]]
    saboteur = Saboteur(Fault(**job["fault"]) if job.get("fault") else None, int(job["index"]))
    adapter = choose(str(job.get("device") or ""), adapters())
    sizes = SOFTWARE if adapter.kind == "software" else CARD
    device = Device(adapter, sizes["memory"])
    kernels = make_kernels(device, GPU_KERNELS[job["program"]], sizes, int(job["seed"]))
    ledger = Ledger()

    def flip(buffer: Any) -> None:
        # One bit of one word, in the middle of the result.
        import numpy as np

        words = device.get(buffer, np.uint32)
        at = words.size // 2
        device.put(buffer, np.array([words[at] ^ np.uint32(1 << 9)], dtype=np.uint32), offset=4 * at)

    per_pass: list[float] = []
    for kernel in kernels:
        try:
            kernel.prove()
            per_pass.append(seconds_per_pass(kernel))
        except WrongResult as error:
            say({"ready": {"facts": adapter.facts()}})
            return ledger.wrong(error, "start", 0, None)
    say({"ready": {"facts": adapter.facts()}})
    epoch = await_start()
    stopping = Stopping()
    stopping.listen()

    last_beat = 0.0
    while not stopping.asked():
        now = time.monotonic() - epoch
        if now >= job["seconds"]:
            break
        moment = program.at(now, 0, 1)
        if abs(now - last_beat) >= BEAT_SECONDS:
            ledger.beat()
            last_beat = now
        if now < 0 or not moment.busy:
            stopping.wait(min(max(moment.until - now, 0.001), IDLE_SLICE_SECONDS))
            continue
        which = moment.turn % len(kernels)
        kernel = kernels[which]
        passes = passes_for(LONG_SECONDS if moment.long else SHORT_SECONDS, per_pass[which])
        seed = (int(job["seed"]) + ledger.units) & 0xFFFFFFFF
        saboteur.before(kernel.name, ledger.units)
        spoil = flip if saboteur.wants_flip() else None
        began = time.perf_counter()
        try:
            done = kernel.run(seed, passes, spoil)
            if saboteur.slows:
                kernel.run(seed, passes, None)
        except WrongResult as error:
            repeats = comes_wrong_again(partial(kernel.run, seed, passes, None))
            return ledger.wrong(error, moment.phase, seed, repeats)
        ledger.count(moment.phase, kernel.name, done, kernel.nominal, time.perf_counter() - began)
    ledger.beat()
    say({"ended": True})
    return 0


def seconds_per_pass(kernel: Any) -> float:
    """How long one pass takes, the setting-out not counted: the difference between many and few."""
    passes = 1
    while passes < MOST_PASSES:
        began = time.perf_counter()
        kernel.run(passes, passes, None)
        spent = time.perf_counter() - began
        if spent > LONG_SECONDS / 4:
            return spent / passes
        passes *= 4
    return LONG_SECONDS / MOST_PASSES


def passes_for(seconds: float, per_pass: float) -> int:
    """Passes that fill so much time, at least one: short enough for a driver's own time limit to stay far away."""
    return max(1, min(MOST_PASSES, round(seconds / per_pass)))


def trouble_kind(error: Exception) -> str:
    """``lost`` for what the graphics library reports, ``environment`` for what the system refused, else ``program``."""
    if type(error).__module__.split(".")[0] == "wgpu" or "lost" in str(error).lower():
        return "lost"
    return "environment" if isinstance(error, MemoryError | OSError | ImportError) else "program"


def list_adapters() -> None:
    """Name the devices there are, as one line of JSON."""
    from surefoot.rig.loads.gpu.device import adapters

    say({"adapters": [{"name": item.name, "kind": item.kind, "backend": item.backend} for item in adapters()]})


if __name__ == "__main__":
    if sys.argv[1:] == ["--list"]:
        list_adapters()
    else:
        run(main, trouble_kind)
