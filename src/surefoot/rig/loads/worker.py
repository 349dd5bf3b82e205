"""One worker of the CPU load: a process of its own, pinned to one processor. Started with ``python -m``, not imported.

It talks in lines of JSON on its standard output and listens on its standard input, whose end means that the parent is
gone: then the worker ends at once, so that a killed parent leaves nothing spinning.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import time
from contextlib import suppress
from typing import Any

# Only what is light: the interpreter of every worker pays for it. numpy comes after the pinning.

BEAT_SECONDS = 0.25
IDLE_SLICE_SECONDS = 0.2
WRONG_EXIT = 3
TROUBLE_EXIT = 4


def say(message: dict[str, Any]) -> None:
    """One line to the parent, in one write: whole or not at all. When nobody listens, end."""
    try:
        os.write(1, (json.dumps(message) + "\n").encode())
    except OSError:
        os._exit(0)


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


def shield() -> None:
    """No interrupt from the keyboard (it is the parent's), and no core file of a crash that was provoked."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


class Stopping:
    """Listens to the parent: a line means stop after this unit of work, the end of the pipe means end now."""

    def __init__(self) -> None:
        self._asked = threading.Event()
        self._parent = os.getppid()

    def listen(self) -> None:
        """From now on, in a thread of its own."""
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        # os.read and not sys.stdin: a buffered reader's lock makes an interpreter that is ending abort.
        while data := os.read(0, 64):
            if b"stop" in data:
                self._asked.set()
        os._exit(0)

    def asked(self) -> bool:
        """Whether to stop. Ends the process at once when its parent has changed, in case the pipe is still held."""
        if os.getppid() != self._parent:
            os._exit(0)
        return self._asked.is_set()

    def wait(self, seconds: float) -> None:
        """Idle for so long, or until asked to stop."""
        self._asked.wait(seconds)


def await_start() -> float:
    """The moment, on the system-wide monotonic clock, at which all begin. Ends the process when the parent is gone."""
    line = b""
    while not line.endswith(b"\n"):
        data = os.read(0, 1)
        if not data:
            os._exit(0)
        line += data
    return float(line)


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

    def wrong(error: WrongResult, phase: str, seed: tuple[int, ...], repeats: bool | None) -> int:
        say({"beat": units, "work": work})
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
    say({"ready": {"pid": os.getpid(), "pinned": pinned}})
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
            say({"beat": units, "work": work})
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
        tally = work.setdefault(moment.phase, {}).setdefault(kernel.name, [0.0, 0.0, 0.0])
        tally[0] += done
        tally[1] += spent
        tally[2] += 1
    say({"beat": units, "work": work})
    say({"ended": True})
    return 0


def run(argument: str) -> None:
    """Entry of the process. Anything that goes wrong in the program itself is told to the parent, in one line."""
    try:
        code = main(json.loads(argument))
    except (MemoryError, OSError, ImportError) as error:
        say({"trouble": {"kind": "environment", "what": f"{type(error).__name__}: {error}"}})
        code = TROUBLE_EXIT
    except Exception as error:  # noqa: BLE001 - a program that breaks where it worked before is what is looked for
        say({"trouble": {"kind": "program", "what": f"{type(error).__name__}: {error}"}})
        code = TROUBLE_EXIT
    sys.stdout.flush()
    # Not sys.exit: the listening thread sits in a read, and an ordinary end may wait for it.
    os._exit(code)


if __name__ == "__main__":
    run(sys.argv[1])
