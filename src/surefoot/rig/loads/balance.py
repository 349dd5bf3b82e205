"""How several loads share a machine: what each gets beside the others, and which has to give way. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

Work = Mapping[str, Mapping[str, Sequence[float]]]
"""Phase to kernel to (work verified, seconds, units of work)."""

LEAST_SHARE = 0.5
"""Of its pace alone that each part is to keep beside the others, as far as slowing the others down can give it."""
LEAST_DUTY = 0.6
STEP = 0.1


@dataclass(frozen=True, slots=True)
class Share:
    """What one part got: its ``pace`` beside the others as a share of alone (None: not known), and its ``duty``."""

    name: str
    pace: float | None
    duty: float


def work_between(before: Sequence[Work], after: Sequence[Work]) -> dict[tuple[str, str], tuple[float, float]]:
    """Work done and seconds spent from one look to the next, by phase and kernel, all workers together."""
    total: dict[tuple[str, str], tuple[float, float]] = {}
    for worker, work in enumerate(after):
        old = before[worker] if worker < len(before) else {}
        for phase, kernels in work.items():
            for kernel, (amount, seconds, _) in kernels.items():
                was = old.get(phase, {}).get(kernel, (0.0, 0.0, 0.0))
                done, spent = total.get((phase, kernel), (0.0, 0.0))
                total[phase, kernel] = (done + amount - was[0], spent + seconds - was[1])
    return total


def relative_pace(
    alone: Mapping[tuple[str, str], tuple[float, float]], beside: Mapping[tuple[str, str], tuple[float, float]]
) -> float | None:
    """Pace beside others over pace alone: what was done, in the time that it would have taken alone, by the time spent.

    Only kernels that were seen in both count; None when there is none.
    """
    needed = spent = 0.0
    for key, (work, seconds) in beside.items():
        work_alone, seconds_alone = alone.get(key, (0.0, 0.0))
        if work > 0 and work_alone > 0 and seconds > 0 and seconds_alone > 0:
            needed += work * seconds_alone / work_alone
            spent += seconds
    return needed / spent if spent > 0 else None


def new_duties(shares: Sequence[Share]) -> dict[str, float]:
    """The duty of each part from here on: where one falls below its least share, the one that keeps most gives way.

    Where all keep their share, whoever had to give way gets a step of it back. Never below ``LEAST_DUTY``: a part that
    works less than that no longer loads what it is there to load.
    """
    duties = {share.name: share.duty for share in shares}
    known = [share for share in shares if share.pace is not None]
    starved = [share for share in known if share.pace is not None and share.pace < LEAST_SHARE]
    if starved:
        names = {share.name for share in starved}
        givers = [share for share in known if share.name not in names and share.duty > LEAST_DUTY]
        if givers:
            giver = max(givers, key=lambda share: share.pace or 0.0)
            duties[giver.name] = max(LEAST_DUTY, giver.duty - STEP)
        return duties
    # A little above the least share, so that the duties do not swing.
    if known and all(share.pace is not None and share.pace >= LEAST_SHARE + STEP for share in known):
        lowest = min(shares, key=lambda share: share.duty)
        if lowest.duty < 1.0:
            duties[lowest.name] = min(1.0, lowest.duty + STEP)
    return duties
