"""The worker of the graphics load: a process of its own, so that a driver that takes its client down takes only this.

Started with ``python -m``: with a job as every worker, or with ``--list`` to name the devices there are.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

from surefoot.rig.loads.child import (
    BEAT_SECONDS,
    IDLE_SLICE_SECONDS,
    TROUBLE_EXIT,
    Stopping,
    await_start,
    run,
    say,
    shield,
)
from surefoot.rig.loads.ledger import Ledger

if TYPE_CHECKING:
    from surefoot.rig.loads.gpu.device import Device
    from surefoot.rig.loads.gpu.flight import Flight, Landed, Wrong
    from surefoot.rig.loads.gpu.kernels import GpuKernel

# A list of work lasts so long on the device: long enough that handing the next over costs nothing, short enough for a
# driver's own time limit (seconds) to stay far away and for a wrong result to be told at once.
LIST_SECONDS = 0.08


def main(job: dict[str, Any]) -> int:
    """Be the worker that the job describes. Returns the exit code."""
    shield()
    import psutil

    from surefoot.rig.loads.fault import Fault, Saboteur
    from surefoot.rig.loads.gpu.device import Device, adapters, choose
    from surefoot.rig.loads.gpu.flight import DEPTH, Flight, Wrong
    from surefoot.rig.loads.gpu.programs import GPU_PROGRAMS
    from surefoot.rig.loads.gpu.tuning import make_kernels, size_up
    from surefoot.rig.loads.gpu.vram import LARGEST_CHUNK
    from surefoot.rig.loads.kernels.base import WrongResult

    program = GPU_PROGRAMS[job["program"]]
    index = int(job["index"])
    saboteur = Saboteur([Fault(**fault) for fault in job.get("faults", ())], index)
    adapter = choose(str(job.get("device") or ""), adapters())
    device = Device(adapter, LARGEST_CHUNK)
    whole = job["program"] == "gpu-memory"
    ledger = Ledger()
    seed = int(job["seed"])
    flight = Flight(device)
    try:
        sizes = size_up(device, program.kernels, psutil.virtual_memory().available, whole, seed)
        kernels = make_kernels(device, program.kernels, sizes, seed)
        for kernel in kernels.values():
            kernel.prove()
        pace = {name: seconds_per_pass(flight, kernel) for name, kernel in kernels.items()}
    except WrongResult as error:
        say({"ready": {"facts": adapter.facts()}})
        return ledger.wrong(error, "start", 0, None)
    except Wrong as caught:
        say({"ready": {"facts": adapter.facts()}})
        return ledger.wrong(caught.error, "start", 0, None)
    facts = {**adapter.facts(), "graphics_sizes": describe(kernels)}
    say({"ready": {"facts": facts}})
    epoch = await_start()
    stopping = Stopping()
    stopping.listen()
    patience = float(job["software_stuck_seconds" if adapter.kind == "software" else "stuck_seconds"])
    Watch(flight, ledger, patience).start()

    def enter(landed: list[Landed]) -> None:
        for item in landed:
            name = item.kernel.name
            ledger.count(item.phase, name, item.batch.amount, item.kernel.nominal, item.seconds)
            if item.batch.traffic_gb and name != "pattern":
                ledger.tally(item.phase, "traffic", item.batch.traffic_gb, item.seconds)
            # The clock moves with heat: a list is kept as long as it should be by what the last one took.
            pace[name] += 0.3 * (item.seconds / item.passes - pace[name])

    last_beat, units, last_phase = 0.0, 0, ""
    try:
        while not stopping.asked():
            now = time.monotonic() - epoch
            if now >= job["seconds"]:
                break
            moment = program.at(now, 0, 1)
            if abs(now - last_beat) >= BEAT_SECONDS:
                ledger.beat()
                last_beat = now
            if moment.phase != last_phase or not moment.busy:
                # Whatever a phase began is judged before the next begins, and before a rest.
                enter(flight.land(0))
                last_phase = moment.phase
            if now < 0 or not moment.busy or stopping.duty <= 0:
                stopping.wait(min(max(moment.until - (time.monotonic() - epoch), 0.0005), IDLE_SLICE_SECONDS))
                continue
            kernel = kernels[moment.kernel]
            seconds = LIST_SECONDS if moment.long else min(LIST_SECONDS, moment.until - now)
            if moment.phase == "light":
                seconds = 0.0
            passes = passes_for(seconds, pace[kernel.name], kernel.most_passes)
            saboteur.before(kernel.name, moment.phase, units)
            if saboteur.stalls:
                stall(device, flight)
            flight.send(kernel, moment.phase, (seed + units) & 0xFFFFFFFF, passes, saboteur.flip(), saboteur.slows)
            units += 1
            began = time.monotonic()
            enter(flight.land(0 if stopping.duty < 1.0 else DEPTH - 1))
            stopping.rest(time.monotonic() - began)
            if moment.phase == "light":
                enter(flight.land(0))
                stopping.wait(max(moment.until - (time.monotonic() - epoch), 0.001))
        enter(flight.land(0))
    except Wrong as caught:
        return ledger.wrong(caught.error, caught.phase, caught.seed, comes_wrong_again(flight, caught))
    ledger.beat()
    say({"ended": True})
    return 0


def stall(device: Device, flight: Flight) -> None:
    """Work without an end in sight, as a device that hangs looks from here; only ever put in on purpose."""
    from surefoot.rig.loads.gpu.chain import Chain

    endless = Chain(device, 1 << 16, 1 << 26)
    endless.prove()
    work = device.work()
    endless.enqueue(work, 1, 8, None, False)
    flight.waiting_since = time.monotonic()
    device.submit(work)


def describe(kernels: dict[str, GpuKernel]) -> dict[str, str]:
    """How each kernel was sized to the device, in words."""
    return {name: kernel.sized() for name, kernel in kernels.items()}


class Watch:
    """Speaks for the worker while it waits for the device, and ends it when the device has stopped answering.

    Only then: a worker that sits elsewhere says nothing, and its parent sees that.
    """

    def __init__(self, flight: Flight, ledger: Ledger, patience_seconds: float) -> None:
        self._flight, self._ledger, self._patience = flight, ledger, patience_seconds

    def start(self) -> None:
        """From now on, in a thread of its own."""
        threading.Thread(target=self._watch, daemon=True).start()

    def _watch(self) -> None:
        while True:
            time.sleep(BEAT_SECONDS)
            since = self._flight.waiting_since
            if since is None:
                continue
            waited = time.monotonic() - since
            if waited > max(self._patience, 10 * self._flight.longest_seconds):
                what = f"the device has been at one list of work for {waited:.1f} s ({self._flight.at_work})"
                say({"trouble": {"kind": "stuck", "what": what}})
                os._exit(TROUBLE_EXIT)
            if waited > BEAT_SECONDS:
                self._ledger.beat()


def comes_wrong_again(flight: Flight, caught: Wrong) -> bool:
    """Do the list again at once; what else is under way is let go."""
    from surefoot.rig.loads.gpu.flight import Wrong

    flight.abandon()
    try:
        flight.send(caught.kernel, caught.phase, caught.seed, caught.passes)
        flight.land(0)
    except Wrong:
        return True
    return False


def seconds_per_pass(flight: Flight, kernel: GpuKernel) -> float:
    """How long one pass takes, the setting-out not counted."""
    passes, seconds = 1, 0.0
    while True:
        flight.send(kernel, "start", passes, passes)
        seconds = flight.land(0)[0].seconds
        if seconds > LIST_SECONDS / 4 or passes >= kernel.most_passes:
            return seconds / passes
        passes = min(passes * 4, kernel.most_passes)


def passes_for(seconds: float, per_pass: float, most: int) -> int:
    """Passes that fill so much time, at least one."""
    return max(1, min(most, round(seconds / per_pass)))


def trouble_kind(error: Exception) -> str:
    """``lost`` for what the graphics library reports, ``environment`` for what the system refused, else ``program``."""
    text = str(error).lower()
    if type(error).__module__.split(".")[0] == "wgpu" or "lost" in text or "could not map" in text:
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
