"""One worker of the CPU load, a process of its own, pinned to one processor. Started with ``python -m``."""

from __future__ import annotations

import os
import time
from contextlib import suppress
from functools import partial
from typing import Any

# Only what is light: numpy comes after the pinning.
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
    if job.get("gives_way") and hasattr(os, "nice"):
        # Beside a graphics load: the process that feeds the card must never wait for a processor.
        os.nice(5)

    from surefoot.rig.loads.fault import Fault, Saboteur
    from surefoot.rig.loads.kernels import WrongResult, make_kernels
    from surefoot.rig.loads.program import program_of

    index, workers = int(job["index"]), int(job["workers"])
    program = program_of(job["program"])
    saboteur = Saboteur([Fault(**fault) for fault in job.get("faults", ())], index)
    goes_on = bool(job.get("goes_on"))
    ledger = Ledger()

    longest = 0.0
    # Proves the kernels themselves before anything is counted, and brings every library in.
    try:
        kernels = make_kernels(program.kernels, int(job["stream_bytes"]), int(job.get("cache_bytes", 0)))
        for kernel in kernels.values():
            kernel.run((0, 0), False)
            began = time.process_time()
            kernel.run((0, 0), True)
            longest = max(longest, time.process_time() - began)
    except WrongResult as error:
        say({"ready": {"pinned": pinned}})
        return ledger.wrong(error, "start", [0], None)
    say({"ready": {"pinned": pinned, "longest_seconds": longest}})
    epoch = await_start()
    stopping = Stopping()
    stopping.listen()

    def beat() -> None:
        faults = {"put_in": saboteur.done} if saboteur.done else {}
        ledger.beat(processor_seconds=round(time.process_time(), 3), **faults)

    last_beat = 0.0
    while not stopping.asked():
        now = time.monotonic() - epoch
        if now >= job["seconds"]:
            break
        moment = program.at(now, index, workers)
        if abs(now - last_beat) >= BEAT_SECONDS:
            beat()
            last_beat = now
        if now < 0 or not moment.busy or stopping.duty <= 0:
            stopping.wait(min(max(moment.until - now, 0.001), IDLE_SLICE_SECONDS))
            continue
        kernel = kernels[moment.kernel]
        seed = (int(job["seed"]), index, ledger.units)
        saboteur.before(kernel.name, moment.phase, ledger.units)
        began, clock = time.process_time(), time.monotonic()
        try:
            done = kernel.run(seed, moment.long, saboteur.tamper)
            if saboteur.slows:
                kernel.run(seed, moment.long)
        except WrongResult as error:
            repeats = comes_wrong_again(partial(kernel.run, seed, moment.long))
            code = ledger.wrong(error, moment.phase, list(seed), repeats, now)
            if goes_on:
                # Only where faults were put in one after another, to count how many are caught.
                continue
            return code
        spent = time.process_time() - began
        ledger.count(moment.phase, kernel.name, done, kernel.nominal, spent)
        stopping.rest(time.monotonic() - clock)
    beat()
    say({"ended": True})
    return 0


def trouble_kind(error: Exception) -> str:
    """``environment`` for what the system refused, ``program`` for a program that broke."""
    return "environment" if isinstance(error, MemoryError | OSError | ImportError) else "program"


if __name__ == "__main__":
    run(main, trouble_kind)
