"""What became of the agent that served a line before this one."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Final, Literal

from surefoot.guide.remote.wire import ORPHANED_SECONDS

GRACE_SECONDS: Final = ORPHANED_SECONDS + 5.0
Former = Literal["gone", "frozen"]


def see_off(processes: Sequence[int], began: float, within: float) -> Former:
    """Wait until an earlier agent and its guardian are gone, so that two never have their hands on one unit.

    ``processes``: their numbers; ``began``: when the agent did, seconds since the epoch. An agent ends by itself once
    its line is lost; one that is still there ``within`` seconds later is frozen, and is killed: its guardian acts then.
    """
    until = time.monotonic() + within
    while time.monotonic() < until:
        if not any(_there(number, began) for number in processes):
            return "gone"
        time.sleep(0.1)
    import psutil

    for number in processes[:1]:
        if _there(number, began):
            psutil.Process(number).kill()
    until = time.monotonic() + within
    while time.monotonic() < until and any(_there(number, began) for number in processes):
        time.sleep(0.1)
    return "frozen"


def _there(number: int, began: float) -> bool:
    """Whether a process of that number is the one that was meant: a number is used again."""
    import psutil

    try:
        process = psutil.Process(number)
        ours = any("surefoot" in word for word in process.cmdline())
        return ours and process.status() != psutil.STATUS_ZOMBIE and process.create_time() >= began - 120
    except psutil.Error:
        return False
