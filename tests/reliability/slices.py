"""Work cut into slices that are played side by side, each by a process of its own, and added up."""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed

from table import Counted, added


def mixed(kinds: Sequence[tuple[str, Sequence[tuple[str, int, int]]]]) -> list[tuple[str, int, int]]:
    """The slices of all kinds, in such an order that each kind is equally far whenever the time is up."""
    placed = [
        ((place + 0.5) / len(slices), number, one)
        for number, (_, slices) in enumerate(kinds)
        for place, one in enumerate(slices)
    ]
    return [one for _, _, one in sorted(placed)]


def cut(kind: str, first: int, last: int, size: int) -> list[tuple[str, int, int]]:
    """``kind`` from ``first`` to below ``last``, in slices of at most ``size``."""
    return [(kind, place, min(last, place + size)) for place in range(first, last, size)]


def played(
    work: Callable[[str, int, int, float], Counted],
    slices: Sequence[tuple[str, int, int]],
    jobs: int,
    seconds: float = float("inf"),
) -> list[Counted]:
    """What came of the slices, added up by what they are. ``work(kind, first, last, until)`` plays one, by a moment of
    the system's clock at the latest; a slice whose time has not come by then is not begun."""
    until = time.time() + seconds
    if jobs <= 1:
        return added(work(*one, until) for one in slices if time.time() < until)
    found: list[Counted] = []
    with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        asked = {pool.submit(in_time, work, one, until): one for one in slices}
        for done in as_completed(asked):
            if (one := done.result()) is not None:
                found.append(one)
                print(f"{one.what}: {one.survived} of {one.tried}", *one.lost, file=sys.stderr, flush=True)
    return added(found)


def in_time(work: Callable[[str, int, int, float], Counted], one: tuple[str, int, int], until: float) -> Counted | None:
    """One slice, unless the time is up."""
    return work(*one, until) if time.time() < until else None
