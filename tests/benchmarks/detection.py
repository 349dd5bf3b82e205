"""A thousand faults put in on purpose: how many are caught, where, and how fast. Run by hand.

    python tests/benchmarks/detection.py [--flips 950] [--sessions 50]

Flips: one bit of one result of one processor in one phase, hundreds in one session that goes on after each; caught
means told with its processor, phase and kernel. Sessions: a worker that dies, is frozen, spins, sleeps, breaks or is
slowed down, each in a session of its own that must end (or say) with the right outcome and processor.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from statistics import median

from surefoot.rig.loads.cpu import CpuLoad, stream_bytes
from surefoot.rig.loads.crew import Crew
from surefoot.rig.loads.fault import Fault, FaultKind
from surefoot.rig.loads.processors import allowed_processors
from surefoot.rig.loads.program import PROGRAMS
from surefoot.rig.loads.verdicts import Post
from surefoot.runs import Outcome

PER_PHASE = {"dense": 5, "full": 8, "burst": 4, "single": 1, "light": 2}
OUTCOMES: dict[FaultKind, Outcome] = {
    "die": Outcome.MISCOMPUTE,
    "kill": Outcome.VOID,
    "freeze": Outcome.HANG,
    "spin": Outcome.HANG,
    "sleep": Outcome.HANG,
    "raise": Outcome.MISCOMPUTE,
}


def flips(count: int, limit_seconds: float) -> tuple[int, int, int, float]:
    """Faults over all phases, in the order in which they come, on every processor.

    Returns how many were put in, told, told in the right phase, and the longest time to the answer in seconds.
    """
    chance = random.Random(8)
    program = PROGRAMS["cpu"]
    processors = allowed_processors()
    faults: list[Fault] = []
    for worker in range(len(processors)):
        units = 0
        while sum(fault.worker == worker for fault in faults) < -(-count // len(processors)):
            for phase in program.phases:
                for _ in range(PER_PHASE[phase.name]):
                    # A bit of a transform below what rounding may change can be rounded away: its stated limit.
                    bit, share = chance.randrange(30, 62), chance.random()
                    faults.append(Fault("flip", worker, units, "", phase.name, share, bit))
    posts = [Post(f"processor {number}", {"processor": number}) for number in processors]
    job = {
        "program": "cpu",
        "seconds": limit_seconds,
        "seed": 1,
        "faults": [fault.as_plain() for fault in faults],
        "stream_bytes": stream_bytes(len(processors)),
        "goes_on": True,
    }
    crew = Crew("surefoot.rig.loads.worker", posts, job)
    while not all(member.is_ready for member in crew.members):
        time.sleep(0.05)
    epoch = crew.begin()
    while time.monotonic() < epoch + limit_seconds + 1:
        time.sleep(0.5)
        if sum(len(member.wrongs) for member in crew.members) >= count:
            break
    crew.stop(10)
    time.sleep(0.5)
    put_in = sum(int(view.now.get("put_in", 0)) for view in crew.look())
    delays: list[float] = []
    where: Counter[str] = Counter()
    right = 0
    for member in crew.members:
        for number, (heard, wrong) in enumerate(member.wrongs):
            fault = [fault for fault in faults if fault.worker == crew.members.index(member)][number]
            delays.append(heard - epoch - wrong["at_seconds"])
            where[f"{wrong['phase']} {wrong['kernel']}"] += 1
            right += wrong["phase"] == fault.phase
    crew.kill()
    found = sum(len(member.wrongs) for member in crew.members)
    print(f"flips: {put_in} put in, {found} told by the right processor, {right} in the right phase")
    print(
        f"told after {median(delays):.2f} s (median), {max(delays):.2f} s at most, from the start of the unit of work"
    )
    print(", ".join(f"{name} {number}" for name, number in sorted(where.items())))
    return put_in, found, right, max(delays)


def session(number: int) -> tuple[str, bool, float]:
    """One fault in a session of its own; whether it was told apart, and seconds from its beginning to the answer."""
    chance = random.Random(number)
    kind = list(OUTCOMES)[number % len(OUTCOMES)]
    pair = chance.sample(allowed_processors(), 2)
    worker = chance.randrange(2)
    load = CpuLoad("cpu-heavy", processors=pair, fault=Fault(kind, worker, chance.randrange(1, 40)))
    running = load.start(1)
    began = time.monotonic()
    while (state := running.poll()).state == "running" and time.monotonic() - began < 60:
        time.sleep(0.05)
    running.stop()
    good = state.outcome is OUTCOMES[kind] and state.detail.get("processor") == pair[worker]
    if not good:
        print(f"  MISSED: {kind} on {pair[worker]}: {state.outcome} {state.message}")
    return kind, good, time.monotonic() - began


def slowed(number: int) -> tuple[bool, float]:
    """One processor that takes twice the time from some moment on."""
    chance = random.Random(number)
    several = chance.sample(allowed_processors(), min(4, len(allowed_processors())))
    worker = chance.randrange(len(several))
    after = 150
    running = CpuLoad("cpu-heavy", processors=several, fault=Fault("slow", worker, after)).start(0.2)
    slow_from, began = None, time.monotonic()
    while (state := running.poll()).state == "running":
        units = list(state.detail["verified_units"].values())
        if slow_from is None and units[worker] >= after:
            slow_from = time.monotonic()
        if "lost_pace" in state.detail:
            break
        time.sleep(0.05)
    told = time.monotonic() - (slow_from or began)
    running.stop()
    return list(state.detail.get("lost_pace", {})) == [f"processor {several[worker]}"], told


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--flips", type=int, default=950)
    asked.add_argument("--flip-seconds", type=float, default=600.0)
    asked.add_argument("--sessions", type=int, default=42)
    asked.add_argument("--slowed", type=int, default=8)
    given = asked.parse_args()
    flips(given.flips, given.flip_seconds)
    at_once = max(1, len(allowed_processors()) // 4)
    with ThreadPoolExecutor(at_once) as pool:
        answers = list(pool.map(session, range(given.sessions)))
    times: dict[str, list[float]] = {}
    for kind, _, seconds in answers:
        times.setdefault(kind, []).append(seconds)
    print(f"sessions: {sum(good for _, good, _ in answers)} of {len(answers)} told apart with the right processor")
    print(", ".join(f"{kind} within {max(seconds):.1f} s" for kind, seconds in times.items()))
    slow = [slowed(number) for number in range(given.slowed)]
    if slow:
        late = max(seconds for _, seconds in slow)
        right = sum(good for good, _ in slow)
        print(f"stretched clocks: {right} of {len(slow)} told by the right processor, within {late:.1f} s")


if __name__ == "__main__":
    main()
