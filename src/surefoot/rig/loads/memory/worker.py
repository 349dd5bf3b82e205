"""One worker of the memory load, a process of its own. Started with ``python -m``."""

from __future__ import annotations

import time
from functools import partial
from typing import Any

from surefoot.rig.loads.child import BEAT_SECONDS, Stopping, await_start, run, say, shield
from surefoot.rig.loads.ledger import Ledger, comes_wrong_again
from surefoot.rig.loads.worker import pin, trouble_kind

SWAP_ALLOWED = 64 << 20
NOMINAL_GB = 0.5


def main(job: dict[str, Any]) -> int:
    """Be the worker that the job describes. Returns the exit code."""
    shield()
    pinned = pin(job["processor"])
    if job.get("gives_way"):
        import os

        if hasattr(os, "nice"):
            os.nice(5)

    from surefoot.rig.loads.fault import Fault, Saboteur
    from surefoot.rig.loads.kernels.base import WrongResult
    from surefoot.rig.loads.memory.field import Field
    from surefoot.rig.loads.memory.free import available_bytes, swapped_bytes
    from surefoot.rig.loads.memory.patterns import filling_at

    saboteur = Saboteur([Fault(**fault) for fault in job.get("faults", ())], int(job["index"]))
    field = Field(int(job["target_bytes"]), int(job["headroom_bytes"]), available_bytes, int(job["chunk_bytes"]))
    ledger = Ledger()
    seed = int(job["seed"]) + int(job["index"])
    if not field.grow(filling_at(0, seed)):
        raise MemoryError("there is not enough free memory to load and still leave the headroom")
    swapped = swapped_bytes()
    say({"ready": {"pinned": pinned}})
    epoch = await_start()
    stopping = Stopping()
    stopping.listen()

    last_beat, passes, place, growing = 0.0, 1, 0, False
    while not stopping.asked():
        now = time.monotonic() - epoch
        if now >= job["seconds"]:
            break
        if abs(now - last_beat) >= BEAT_SECONDS:
            ledger.beat(memory_bytes=field.size, released_chunks=field.released)
            last_beat = now
        if now < 0 or stopping.duty <= 0:
            stopping.wait(0.05)
            continue
        # Whoever else needs memory now goes first, and a machine that has begun to swap is relieved at once.
        if field.give_way() or swapped_bytes() > swapped + SWAP_ALLOWED:
            swapped = swapped_bytes()
            if field.count > 1:
                field.release_one()
            if not field.count:
                raise MemoryError("the machine needed all its memory for something else")
            place = min(place, field.count - 1)
        # One chunk more, then one checked: while the memory is being taken it is tried as well.
        growing = not growing
        if growing and field.grow(filling_at(passes - 1, seed)):
            continue
        down = passes % 2 == 1
        number = field.count - 1 - place if down else place
        saboteur.before("memory", "memory", ledger.units)
        began = time.perf_counter()
        try:
            done = field.sweep(number, filling_at(passes, seed), down, saboteur.tamper)
            if saboteur.slows:
                field.sweep(number, filling_at(passes, seed), down)
        except WrongResult as error:
            again = partial(field.sweep, number, filling_at(passes, seed), down)
            return ledger.wrong(error, "memory", [seed, passes, number], comes_wrong_again(again))
        spent = time.perf_counter() - began
        ledger.count("memory", "memory", done, NOMINAL_GB, spent)
        stopping.rest(spent)
        place += 1
        if place >= field.count:
            place, passes = 0, passes + 1
    ledger.beat(memory_bytes=field.size, released_chunks=field.released)
    say({"ended": True})
    return 0


if __name__ == "__main__":
    run(main, trouble_kind)
