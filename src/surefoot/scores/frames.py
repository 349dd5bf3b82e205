"""Frame times: average, lows, stutter and hitches of a log of per-frame milliseconds, robust to a cut-off end.

A hitch (a load, a pause, a hang) is one frame that takes a hundred times another's time. Left in, one of them is the
whole of a low; left out above some length, a millisecond more changes the low by a factor. So a hitch is a figure of
its own, and in the average and the lows it counts as a frame of the length at which hitches begin, however long it was.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from surefoot.errors import BadInput
from surefoot.runs import Floats
from surefoot.scores.bootstrap import WithinLog, block_bootstrap
from surefoot.scores.frame_curves import percentiles
from surefoot.wording import count

FRAME_CHANNEL = "frame.frame-time"
"""The channel of a trace that holds frame times."""

HITCH_MS = 100.0
HITCH_TIMES_MEDIAN = 10.0
GAP_SECONDS = 1.0
LONGEST_MS = 86_400_000.0
STUTTER_TIMES_MEDIAN = 2.0
STUTTER_MORE_MS = 4.0
STUTTER_WINDOW_FRAMES = 61
FIRST_FRAME_TIMES = 3.0
LAST_FRAME_SHARE = 0.5
FASTEST_MEDIAN_MS = 0.1
FEWEST_FRAMES = {1.0: 100, 0.1: 1000}

DEFINITIONS: dict[str, str] = {
    "fps": "average: frames shown, divided by the time they took (never the mean of frame rates)",
    "1 % low (percentile)": "1000 / the 99th percentile of the frame times in ms (linear interpolation): 99 of 100 "
    "frames are at least this fast",
    "1 % low (slowest mean)": "frames over time of the slowest 1 % of the frames",
    "0.1 % low (percentile)": "1000 / the 99.9th percentile of the frame times in ms (linear interpolation)",
    "0.1 % low (slowest mean)": "frames over time of the slowest 0.1 % of the frames",
    "stutter": f"share of the time spent in frames that took more than {STUTTER_TIMES_MEDIAN:g} times the median of "
    f"the {STUTTER_WINDOW_FRAMES} frames around them and at least {STUTTER_MORE_MS:g} ms longer than it "
    "(our own definition; there is no standard)",
    "hitches": f"frames of at least {HITCH_MS:g} ms and {HITCH_TIMES_MEDIAN:g} times the median, a minute (our own "
    "definition); the average, the lows and the stutter count such a frame as if it had just that length",
}
"""What each figure is, by the name it is shown and stored under."""

UNITS = {"stutter": "%", "hitches": "/min"}
"""The unit of the figures that are no frame rate; of these less is better."""

LOWS = tuple(name for name in DEFINITIONS if "low" in name)


@dataclass(frozen=True, slots=True)
class FrameStatistics:
    """What a frame-time log says.

    ``frames`` and ``seconds``: what the figures rest on, after the rest was left out. ``average_fps``; the lows in fps
    by both definitions of `DEFINITIONS`, NaN where there are too few frames (100 for 1 %, 1000 for 0.1 %);
    ``stutter_share``: 0 to 1; ``stutters``: frames. ``rejected``: frames of no, negative or non-numeric time;
    ``hitches``, ``hitch_seconds``: how many, and how long in all; ``hitches_per_minute``: of the log's whole time;
    ``hitch_counts_ms``: what each counts as in the other figures; ``gaps``, ``gap_seconds``: holes between the log's
    own times; ``first_left_out``, ``last_left_out``: whether the end frames were partial. ``notes``: all of this in
    words; ``percentiles_ms``: the curve, see `frame_curves.percentiles`.
    """

    frames: int
    seconds: float
    average_fps: float
    median_ms: float
    low_1_percentile_fps: float
    low_01_percentile_fps: float
    low_1_slowest_fps: float
    low_01_slowest_fps: float
    stutter_share: float
    stutters: int
    rejected: int
    hitches: int
    hitch_seconds: float
    hitches_per_minute: float
    hitch_counts_ms: float
    gaps: int
    gap_seconds: float
    first_left_out: bool
    last_left_out: bool
    notes: tuple[str, ...] = ()
    intervals: dict[str, WithinLog] = field(default_factory=dict)
    percentiles_ms: dict[float, float] = field(default_factory=dict)

    def figures(self) -> dict[str, float]:
        """The figures by the names of `DEFINITIONS`: fps, ``stutter`` in percent of the time, ``hitches`` a minute; no
        NaN."""
        named = {
            "fps": self.average_fps,
            "1 % low (percentile)": self.low_1_percentile_fps,
            "1 % low (slowest mean)": self.low_1_slowest_fps,
            "0.1 % low (percentile)": self.low_01_percentile_fps,
            "0.1 % low (slowest mean)": self.low_01_slowest_fps,
            "stutter": 100.0 * self.stutter_share,
            "hitches": self.hitches_per_minute,
        }
        return {name: value for name, value in named.items() if math.isfinite(value)}


def frame_statistics(
    frame_ms: Sequence[float] | Floats,
    *,
    at_seconds: Sequence[float] | Floats | None = None,
    intervals: bool = False,
    confidence: float = 0.95,
    seed: int = 0,
) -> FrameStatistics:
    """Average, lows and stutter of a log of frame times.

    ``frame_ms``: shape (n,), in order, milliseconds; ``at_seconds``: the log's own time of each frame, shape (n,), to
    find holes. Left out and said: frames of zero, negative or no time (or of more than a day); a first frame of three
    times the next ones or more (it counts from the start of the capture); a last frame shorter than half of every
    other (the log was cut off). A hitch counts as a frame of `hitch_counts_ms`.
    ``intervals``: also the spread of each figure within this log, by block bootstrap. Raises BadInput when no usable
    frame is left, when shapes differ, or when the times are plainly not milliseconds.
    """
    raw = np.asarray(frame_ms, dtype=np.float64)
    if raw.ndim != 1 or raw.size == 0:
        raise BadInput("a frame log must hold one row of frame times in milliseconds.")
    usable = (raw > 0) & (raw < LONGEST_MS)
    rejected = int(raw.size - np.count_nonzero(usable))
    if rejected == raw.size:
        raise BadInput(
            f"none of the {raw.size} frames has a usable time.", remedy="Frame times are positive milliseconds."
        )
    gaps, gap_seconds = _gaps(raw, usable, at_seconds)
    frames = raw[usable]
    median = float(np.median(frames))
    if median < FASTEST_MEDIAN_MS:
        raise BadInput(
            f"the median frame takes {median:g} ms, which would be {1000 / median:,.0f} frames per second.",
            remedy="Are the times in seconds? Give them in milliseconds.",
        )
    frames, first_out, last_out = _without_partial_ends(frames)
    median = float(np.median(frames))
    counts_ms = max(HITCH_MS, HITCH_TIMES_MEDIAN * median)
    hitch = frames >= counts_ms
    hitches, hitch_seconds = int(np.count_nonzero(hitch)), float(frames[hitch].sum()) / 1000
    per_minute = hitches / (float(frames.sum()) / 60_000)
    frames = np.minimum(frames, counts_ms)
    seconds = float(frames.sum()) / 1000
    stutter = _stutters(frames)
    lows = _lows(frames[None, :])[:, 0]
    notes = _notes(
        raw.size, rejected, (hitches, hitch_seconds, counts_ms), gaps, gap_seconds, first_out, last_out, frames.size
    )
    return FrameStatistics(
        frames=int(frames.size),
        seconds=seconds,
        average_fps=frames.size / seconds,
        median_ms=float(np.median(frames)),
        low_1_percentile_fps=float(lows[1]),
        low_1_slowest_fps=float(lows[2]),
        low_01_percentile_fps=float(lows[3]),
        low_01_slowest_fps=float(lows[4]),
        stutter_share=float(frames[stutter].sum()) / 1000 / seconds,
        stutters=int(np.count_nonzero(stutter)),
        rejected=rejected,
        hitches=hitches,
        hitch_seconds=hitch_seconds,
        hitches_per_minute=per_minute,
        hitch_counts_ms=counts_ms,
        gaps=gaps,
        gap_seconds=gap_seconds,
        first_left_out=first_out,
        last_left_out=last_out,
        notes=notes,
        intervals=_intervals(frames, confidence, seed) if intervals and frames.size >= 10 else {},
        percentiles_ms=percentiles(frames),
    )


def _gaps(raw: Floats, usable: np.ndarray, at_seconds: Sequence[float] | Floats | None) -> tuple[int, float]:
    """Holes in the log's own times that no frame accounts for: count and seconds."""
    if at_seconds is None:
        return 0, 0.0
    at = np.asarray(at_seconds, dtype=np.float64)
    if at.shape != raw.shape:
        raise BadInput(f"there are {at.size} times for {raw.size} frames.")
    at, frames = at[usable], raw[usable]
    if at.size < 2:
        return 0, 0.0
    # A log may stamp the start or the end of a frame: the longer of the two neighbours accounts for the step.
    hole = np.diff(at) - np.maximum(frames[1:], frames[:-1]) / 1000
    is_gap = np.isfinite(hole) & (hole > GAP_SECONDS)
    return int(np.count_nonzero(is_gap)), float(hole[is_gap].sum())


def _without_partial_ends(frames: Floats) -> tuple[Floats, bool, bool]:
    """The frames without a first that counts from the capture's start and a last that was cut off."""
    first_out = frames.size >= 3 and bool(frames[0] > FIRST_FRAME_TIMES * frames[1:61].max())
    if first_out:
        frames = frames[1:]
    last_out = frames.size >= 3 and bool(frames[-1] < LAST_FRAME_SHARE * frames[:-1].min())
    if last_out:
        frames = frames[:-1]
    return frames, first_out, last_out


def _stutters(frames: Floats) -> np.ndarray:
    """Which frames are stutters, shape (n,) of bool."""
    from scipy.ndimage import median_filter

    around = median_filter(frames, size=min(STUTTER_WINDOW_FRAMES, frames.size), mode="nearest")
    return np.asarray((frames > STUTTER_TIMES_MEDIAN * around) & (frames >= around + STUTTER_MORE_MS))


def _lows(logs: Floats) -> Floats:
    """Average and lows of logs of shape (m, n): shape (5, m), fps: average; 1 % percentile, slowest; 0.1 % the same."""
    n = logs.shape[1]
    found = [1000.0 * n / logs.sum(axis=1)]
    nothing = np.full(logs.shape[0], math.nan)
    worst = max(1, math.ceil(0.01 * n)) + 1
    tail = -np.sort(-np.partition(logs, n - min(worst, n), axis=1)[:, n - min(worst, n) :], axis=1)
    for percent in (1.0, 0.1):
        if n < FEWEST_FRAMES[percent]:
            found += [nothing, nothing]
            continue
        # Position from the slow end of the linear-interpolation percentile: (n - 1) * percent / 100.
        position = (n - 1) * percent / 100
        whole = math.floor(position)
        upper, lower = tail[:, whole], tail[:, whole + 1]
        found.append(1000.0 / (upper + (position - whole) * (lower - upper)))
        slowest = max(1, round(n * percent / 100))
        found.append(1000.0 * slowest / tail[:, :slowest].sum(axis=1))
    return np.stack(found)


def _intervals(frames: Floats, confidence: float, seed: int) -> dict[str, WithinLog]:
    names = ("fps", *LOWS)
    spreads = block_bootstrap(frames, _lows, confidence=confidence, seed=seed)
    return {name: spread for name, spread in zip(names, spreads, strict=True) if math.isfinite(spread.low)}


def _notes(
    total: int,
    rejected: int,
    hitch: tuple[int, float, float],
    gaps: int,
    gap_seconds: float,
    first_out: bool,
    last_out: bool,
    frames: int,
) -> tuple[str, ...]:
    notes = []
    if rejected:
        notes.append(f"{count(rejected, 'frame')} of {total} left out: no, zero or negative time")
    hitches, hitch_seconds, counts_ms = hitch
    if hitches:
        counted = "it counts" if hitches == 1 else "each counts"
        notes.append(
            f"{count(hitches, 'hitch', 'hitches')}, {hitch_seconds:.1f} s in all: {counted} as {counts_ms:.0f} ms in "
            "the average and the lows"
        )
    if gaps:
        notes.append(
            f"{count(gaps, 'hole')} between the log's times, {gap_seconds:.1f} s in all: nothing counted there"
        )
    if first_out:
        notes.append("the first frame was left out: it counts from the start of the capture")
    if last_out:
        notes.append("the last frame was left out: it is cut off")
    if frames < FEWEST_FRAMES[1.0]:
        notes.append(f"{count(frames, 'frame')}: no 1 % or 0.1 % low is given below 100 and 1000")
    elif frames < FEWEST_FRAMES[0.1]:
        notes.append(f"{count(frames, 'frame')}: no 0.1 % low is given below 1000")
    return tuple(notes)


def is_per_frame(frame_ms: Floats, at_seconds: Floats) -> bool:
    """Whether a log holds every frame, and not a frame time sampled now and then: its frames must fill its time.

    ``frame_ms``, ``at_seconds``: shape (n,). Half the median step between the log's times must be frame time.
    """
    steps = np.diff(at_seconds)
    steps = steps[np.isfinite(steps)]
    frames = frame_ms[np.isfinite(frame_ms) & (frame_ms > 0)]
    if steps.size == 0 or frames.size == 0:
        return True
    return float(np.median(steps)) <= 2 * float(np.median(frames)) / 1000
