"""One worker of the CPU load, a process of its own, pinned to one processor. Started with ``python -m``."""

from __future__ import annotations

import os
import time
from contextlib import suppress
from typing import Any

# Only what is light: numpy comes after the pinning.
from surefoot.rig.loads.child import (
    BEAT_SECONDS,
    IDLE_SLICE_SECONDS,
    WRONG_EXIT,
    Stopping,
    await_start,
    run,
    say,
    shield,
)


def pin(processor: int) -> bool:
    """Bind this process to one logical processor. Returns whether that worked; macOS does not offer it."""
    if hasattr(os, "sched_setaffinity"):
        with suppress(OSError):
            os.sched_setaffinity(0, {processor})
            return os.sched_getaffinity(0) == {processor}
        return False
    import psutil

    process = psutil.Process()
    if not hasattr(process, "cpu_affinity"):
        return False
    try:
        process.cpu_affinity([processor])
    except (psutil.Error, OSError, ValueError):
        return False
    return True


def main(job: dict[str, Any]) -> int:
    """Be the worker that the job describes. Returns the exit code."""
    shield()
    pinned = pin(job["processor"])

    from surefoot.rig.loads.fault import Fault, Saboteur
    from surefoot.rig.loads.kernels import WrongResult, leave_alone, rotation
    from surefoot.rig.loads.program import PROGRAMS

    index, workers = int(job["index"]), int(job["workers"])
    program = PROGRAMS[job["program"]]
    saboteur = Saboteur(Fault(**job["fault"]) if job.get("fault") else None, index)
    kernels = rotation()
    work: dict[str, dict[str, list[float]]] = {}
    units = 0
    progress = 0.0

    def wrong(error: WrongResult, phase: str, seed: tuple[int, ...], repeats: bool | None) -> int:
        say({"beat": units, "work": work, "progress": progress})
        say(
            {
                "wrong": {
                    "kernel": error.kernel,
                    "what": error.what,
                    "expected": error.expected,
                    "found": error.found,
                    "phase": phase,
                    "unit_of_work": units,
                    "seed": list(seed),
                    "repeats": repeats,
                }
            }
        )
        return WRONG_EXIT

    # Proves the kernels themselves before anything is counted, and brings every library in.
    for kernel in kernels:
        try:
            kernel.run((0,), False, leave_alone)
        except WrongResult as error:
            return wrong(error, "start", (0,), None)
    say({"ready": {"pinned": pinned}})
    epoch = await_start()
    stopping = Stopping()
    stopping.listen()

    last_beat = 0.0
    while not stopping.asked():
        now = time.monotonic() - epoch
        if now >= job["seconds"]:
            break
        moment = program.at(now, index, workers)
        if abs(now - last_beat) >= BEAT_SECONDS:
            say({"beat": units, "work": work, "progress": progress})
            last_beat = now
        if now < 0 or not moment.busy:
            stopping.wait(min(max(moment.until - now, 0.001), IDLE_SLICE_SECONDS))
            continue
        kernel = kernels[moment.turn % len(kernels)]
        seed = (int(job["seed"]), index, units)
        saboteur.before(kernel.name, units)
        began = time.process_time()
        try:
            done = kernel.run(seed, moment.long, saboteur.tamper)
            if saboteur.slows:
                kernel.run(seed, moment.long, leave_alone)
        except WrongResult as error:
            # Done again at once: a result that comes out right now was a passing fault, one that stays wrong may be a
            # broken library or a broken unit.
            try:
                kernel.run(seed, moment.long, leave_alone)
                repeats = False
            except WrongResult:
                repeats = True
            return wrong(error, moment.phase, seed, repeats)
        spent = time.process_time() - began
        units += 1
        progress += done / kernel.nominal
        tally = work.setdefault(moment.phase, {}).setdefault(kernel.name, [0.0, 0.0, 0.0])
        tally[0] += done
        tally[1] += spent
        tally[2] += 1
    say({"beat": units, "work": work, "progress": progress})
    say({"ended": True})
    return 0


def trouble_kind(error: Exception) -> str:
    """``environment`` for what the system refused, ``program`` for a program that broke."""
    return "environment" if isinstance(error, MemoryError | OSError | ImportError) else "program"


if __name__ == "__main__":
    run(main, trouble_kind)
