"""Putting samples in order of time: midnight, clock steps, samples out of order or written twice, coarse stamps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surefoot.logs.lines import Ints
from surefoot.logs.problems import Ledger, spans
from surefoot.runs import Floats

DAY = 86400.0
MOST_STEPS = 200
Same = Callable[[Ints, Ints], NDArray[np.bool_]]


@dataclass(frozen=True)
class Order:
    """``rows``: which samples to keep, in order of time; ``seconds``: their times, ascending, same shape."""

    rows: Ints
    seconds: Floats


def unroll(clock: Floats, lines: Ints, ledger: Ledger) -> Floats:
    """Times of day as times that go on past midnight, shape (n,). A step back of more than half a day is midnight."""
    if clock.size < 2:
        return clock
    steps = np.diff(clock)
    turns = np.where(steps < -DAY / 2, 1, np.where(steps > DAY / 2, -1, 0))
    if not turns.any():
        return clock
    # A late sample of the evening just after midnight goes back a day; anything else would be a gap of half a day.
    for place in np.flatnonzero(turns == -1):
        if not (turns[:place] == 1).any():
            turns[place] = 0
    over = lines[1:][turns == 1]
    if over.size:
        ledger.note(f"the clock passes midnight at {spans(over.tolist())}.")
    return np.asarray(clock + DAY * np.concatenate([[0.0], np.cumsum(turns)]))


def put_in_order(
    seconds: Floats,
    lines: Ints,
    same: Same,
    ledger: Ledger,
    *,
    stamp_step: float = 0.0,
    of_day: bool = False,
) -> Order:
    """Order the samples of a log by time.

    ``seconds``: finite, in the order of the file; ``lines``: line of each; ``same(i, j)``: whether samples i and j hold
    the same values; ``stamp_step``: the finest step that the stamps can tell, 0 when they are as fine as it gets;
    ``of_day``: the times had no date, so that a long step back may be the next day.

    A gap forward is kept. A step back is, by what fits: samples written twice (left out), samples late (sorted in),
    a time that is wrong by itself (set between its neighbours), or a clock that was set back (the time goes on).
    """
    rows = np.arange(seconds.size, dtype=np.int64)
    steps = np.diff(seconds)
    if np.all(steps > 0) and not np.any(steps > max(60.0, 50 * float(np.median(steps) if steps.size else 0))):
        return Order(rows, seconds)
    times = seconds.copy()
    if times.size > 1:
        backward = int((np.diff(times) < 0).sum())
        if backward > 0.9 * (times.size - 1):
            ledger.note("the newest sample comes first; the log was turned round.")
            times = times[::-1].copy()
            turned = rows[::-1]
            inner = put_in_order(
                times,
                lines[turned],
                lambda i, j: same(turned[i], turned[j]),
                ledger,
                stamp_step=stamp_step,
                of_day=of_day,
            )
            return Order(turned[inner.rows], inner.seconds)
    state = _Steps(times, lines, same, ledger, of_day)
    state.settle()
    keep = np.flatnonzero(~state.doubled)
    order = keep[np.argsort(state.times[keep], kind="stable")]
    sorted_times = state.times[order]
    ties = np.flatnonzero(np.diff(sorted_times) == 0)
    if ties.size and ties.size <= 0.3 * order.size:
        equal = same(order[ties], order[ties + 1])
        twice = order[ties[equal] + 1]
        state.doubled[twice] = True
        left = np.ones(order.size, dtype=np.bool_)
        left[ties[equal] + 1] = False
        order, sorted_times = order[left], sorted_times[left]
        ties = np.flatnonzero(np.diff(sorted_times) == 0)
        if ties.size:
            what = "sample has the stamp" if ties.size == 1 else "samples have the stamp"
            at = spans(sorted(lines[order[ties + 1]].tolist()))
            ledger.note(f"{ties.size} {what} of another with other values, at {at}; kept as written.")
    elif ties.size and stamp_step > 0:
        sorted_times = _spread(sorted_times, stamp_step, ledger)
    doubled = lines[state.doubled]
    if doubled.size:
        what = "sample" if doubled.size == 1 else "samples"
        ledger.note(f"{doubled.size} {what} written twice, at {spans(sorted(doubled.tolist()))}; kept once.")
    return Order(order, sorted_times)


class _Steps:
    """Works through the steps back in time, one after the other."""

    def __init__(self, times: Floats, lines: Ints, same: Same, ledger: Ledger, of_day: bool) -> None:
        self.times = times
        self.lines = lines
        self.same = same
        self.ledger = ledger
        self.of_day = of_day
        self.doubled = np.zeros(times.size, dtype=np.bool_)
        self.aside = np.zeros(times.size, dtype=np.bool_)  # late or doubled: not part of the main line
        self.late: list[int] = []
        positive = np.diff(times)
        positive = positive[positive > 0]
        self.usual = float(np.median(positive)) if positive.size else 1.0

    def settle(self) -> None:
        """Explain every step back."""
        backward = np.diff(self.times) < 0
        if int(backward.sum()) > max(50, 0.05 * self.times.size):
            self.ledger.note(f"{int(backward.sum())} samples are out of order; the log was sorted by time.")
            return
        self._forward_spikes()
        for _ in range(MOST_STEPS):
            main = np.flatnonzero(~self.aside)
            times = self.times[main]
            steps = np.flatnonzero(np.diff(times) < 0)
            if not steps.size:
                break
            self._explain(main, times, int(steps[0]) + 1)
        else:
            self.ledger.note("the clock steps back very often; what was left was sorted by time.")
        if self.late:
            late = self.lines[np.array(sorted(self.late))]
            self.ledger.note(f"{late.size} samples out of order, at {spans(late.tolist())}; sorted in.")

    def _forward_spikes(self) -> None:
        """Up to three samples that leap ahead and come back at once: their times are wrong."""
        times = self.times
        far = max(60.0, 50 * self.usual)
        for place in np.flatnonzero(np.diff(times) > far)[:MOST_STEPS] + 1:
            for length in (1, 2, 3):
                end = place + length
                if end >= times.size:
                    break
                if 0 <= times[end] - times[place - 1] <= (length + 1) * 5 * self.usual:
                    if self._has_twins(int(place), int(end)):
                        self.doubled[place:end] = self.aside[place:end] = True
                    elif not self._missing_from(float(times[place]), end):
                        self._between(int(place), int(end))
                    break

    def _has_twins(self, start: int, end: int) -> bool:
        """Whether samples stand elsewhere as well, with the same times and values."""
        for row in range(start, end):
            others = np.flatnonzero(self.times == self.times[row])
            others = others[others != row]
            if not others.size or not self.same(np.full(others.size, row), others).any():
                return False
        return True

    def _missing_from(self, moment: float, start: int) -> bool:
        """Whether the samples from ``start`` on leave a hole at a moment, so that one found elsewhere belongs there."""
        after = np.sort(self.times[start:])
        right = int(np.searchsorted(after, moment))
        if right in (0, after.size):
            return bool(after.size) and right == after.size and moment - after[-1] < 5 * self.usual
        return bool(after[right] - after[right - 1] >= 1.5 * self.usual)

    def _between(self, start: int, end: int) -> None:
        left, right = self.times[start - 1], self.times[end]
        wrong = self.lines[start:end]
        self.times[start:end] = left + (right - left) * np.arange(1, end - start + 1) / (end - start + 1)
        text = "the time does not fit its neighbours; set between them"
        self.ledger.many(text, wrong.tolist())

    def _explain(self, main: Ints, times: Floats, place: int) -> None:
        before = times[:place]
        top = float(before[-1])
        past = np.flatnonzero(times[place:] > top)
        end = place + int(past[0]) if past.size else times.size
        block = times[place:end]
        ordered = np.sort(before)
        if self._is_doubled(main, before, block, place, end):
            self.doubled[main[place:end]] = True
            self.aside[main[place:end]] = True
            return
        drop = top - float(block[0])
        low, high = float(block.min()), float(block.max())
        left = int(np.searchsorted(ordered, low))
        right = int(np.searchsorted(ordered, high, side="right"))
        inside = right - left
        hole_start = float(ordered[left - 1]) if left else -np.inf
        hole_end = float(ordered[right]) if right < ordered.size else np.inf
        roomy = hole_end - hole_start >= (block.size + 0.5) * self.usual
        at_end = end == times.size
        fits_hole = inside <= 0.2 * block.size and roomy and not (np.isinf(hole_start) and block.size > 1)
        if fits_hole and not (at_end and np.isinf(hole_start)):
            self._set_aside(main[place:end])
            return
        if drop < 1.5 * self.usual and block.size <= 3:
            self._set_aside(main[place:end])
            return
        if not at_end and block.size <= 3 and drop > 5 * self.usual:
            gap = float(times[end]) - top
            if gap <= (block.size + 1) * 5 * self.usual and main[end] - main[place - 1] == end - place + 1:
                self._between(int(main[place]), int(main[end]))
                return
        self._set_back(main, times, place, drop)

    def _set_aside(self, which: Ints) -> None:
        self.aside[which] = True
        self.late += which.tolist()

    def _is_doubled(self, main: Ints, before: Floats, block: Floats, place: int, end: int) -> bool:
        """Whether a block says again what stands earlier: the same times with the same values."""
        order = np.argsort(before, kind="stable")
        ordered = before[order]
        at = np.searchsorted(ordered, block)
        there = (at < ordered.size) & (ordered[np.minimum(at, ordered.size - 1)] == block)
        if not there.all():
            return False
        twins = main[:place][order[at]]
        return bool(self.same(twins, main[place:end]).all())

    def _set_back(self, main: Ints, times: Floats, place: int, drop: float) -> None:
        line = int(self.lines[main[place]])
        first = int(main[place])
        if self.of_day and drop > 2 * 3600:
            self.times[first:] += DAY
            self.ledger.note(f"the time of day goes back at line {line}; taken as the next day, with a gap before it.")
            return
        self.times[first:] += drop + self.usual
        if abs(drop + self.usual - 3600) <= max(5.0, 3 * self.usual):
            why = "as at the end of daylight saving time"
        elif float(times[place]) <= self.usual * 1.5 and drop > 5 * self.usual:
            why = "as if the log had been started again"
        else:
            why = "a clock step"
        self.ledger.note(f"the clock goes back by {drop:g} s at line {line}, {why}; the time was made to go on.")


def _spread(times: Floats, step: float, ledger: Ledger) -> Floats:
    """Samples that share a coarse stamp, spread evenly over the time that the stamp stands for."""
    starts = np.flatnonzero(np.concatenate([[True], np.diff(times) > 0]))
    sizes = np.diff(np.concatenate([starts, [times.size]]))
    usual = int(np.median(sizes))
    if usual < 2:
        return times
    stamps = times[starts]
    gaps = np.diff(stamps)
    step = float(gaps.min()) if gaps.size and gaps.min() >= step else step
    place = np.arange(times.size) - np.repeat(starts, sizes)
    room = np.repeat(np.maximum(sizes, usual), sizes)
    # The first stamp may have begun before the log: its samples are the last of it.
    place[: sizes[0]] += max(0, usual - int(sizes[0]))
    ledger.note(f"the stamps are only fine to {step:g} s with about {usual} samples each; spread evenly between.")
    return np.asarray(times + step * place / room)


def tell_gaps(seconds: Floats, lines: Ints, ledger: Ledger) -> None:
    """Note the gaps that are far longer than the usual step; they are kept as they are."""
    if seconds.size < 3:
        return
    steps = np.diff(seconds)
    positive = steps[steps > 0]
    if not positive.size:
        return
    long = np.flatnonzero(steps > max(10 * float(np.median(positive)), 5.0))
    if not long.size:
        return
    worst = int(long[np.argmax(steps[long])])
    hour = " (an hour: the start of daylight saving time?)" if abs(steps[worst] - 3600) < 30 else ""
    count = "a gap" if long.size == 1 else f"{long.size} gaps, the longest"
    ledger.note(f"{count} of {steps[worst]:g} s before line {int(lines[worst + 1])}{hour}; kept.")
