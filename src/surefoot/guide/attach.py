"""Writing down scores and instrument readings: checked first, and tied to a run or a configuration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from surefoot.errors import BadInput
from surefoot.journal.configured import list_configurations
from surefoot.runs import Floats, Reading, Score, Trace
from surefoot.scores.configurations import find, is_measurement
from surefoot.scores.frame_curves import curve_scores
from surefoot.scores.frames import DEFINITIONS, FRAME_CHANNEL, UNITS, FrameStatistics, frame_statistics, is_per_frame
from surefoot.scores.sound import SoundLevel, corrected_level
from surefoot.scores.surfaces import SurfaceVerdict, judge
from surefoot.units import validated

if TYPE_CHECKING:
    from surefoot.journal import Journal
    from surefoot.logs import ImportedLog, Problem

FAR_OFF = 3.0
"""A value this many times above or below the others of its name is taken for a slip of the keyboard."""

_RANGES = {"wall-power": (0.0, 5000.0, "W"), "battery": (0.0, 100.0, "%")}


@dataclass(frozen=True, slots=True)
class Target:
    """What a score or reading belongs to: a run, or a configuration by its key; ``words`` for people."""

    run_id: int | None
    configuration: str | None
    words: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Written:
    """What was written down: the entries with their ids, what they belong to, and what follows from them."""

    target: Target
    scores: tuple[tuple[int, Score], ...] = ()
    readings: tuple[tuple[int, Reading], ...] = ()
    frames: FrameStatistics | None = None
    sound: SoundLevel | None = None
    surface: SurfaceVerdict | None = None
    definitions: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def target_of(journal: Journal, unit_name: str, run_id: int | None, configuration: str | None) -> Target:
    """The run or configuration meant. Raises BadInput when none or both are given, or it is not of this unit."""
    card = journal.unit(unit_name)
    if (run_id is None) == (configuration is None):
        raise BadInput(
            "say what it belongs to: one run or one configuration.",
            remedy="--run ID (see `surefoot runs`) or --config NAME (see `surefoot configs`).",
        )
    if run_id is not None:
        run = journal.run(run_id)
        if run.plan.unit_name != card.name:
            raise BadInput(f"run {run_id} is of unit {run.plan.unit_name!r}, not of {card.name!r}.")
        caution = ""
        if run.is_open:
            caution = f"run {run_id} is still open; it counts once it has held to its end"
        elif not is_measurement(run, True):
            caution = f"run {run_id} ended as {run.outcome}: it is kept, but such a run is not compared"
        return Target(run_id, None, f"run {run_id} ({run.setting.describe(card)})", caution)
    found = list_configurations(journal, card)
    one = find(found, configuration or "")
    return Target(None, one.key, f"configuration “{one.name}”")


def write_score(
    journal: Journal, unit_name: str, target: Target, values: dict[str, Any], *, sure: bool = False
) -> Written:
    """Write a score down. ``values``: the fields of `Score`. Raises BadInput for one that cannot be, or is far off the
    others of its name unless ``sure``: the journal keeps what it was told for good."""
    name = " ".join(str(values.get("name", "")).split())
    if not name or not name.isprintable():
        raise BadInput("a score needs a printable name.", where="score")
    score = validated(Score, {**values, "name": name}, f"score {name!r}")
    _refuse_slip(journal, unit_name, score, sure)
    return Written(target, scores=((_add(journal, unit_name, target, score), score),), notes=_cautions(target))


def write_frames(
    journal: Journal, unit_name: str, target: Target, data: bytes, *, name: str = "", where: str = "the frame log"
) -> Written:
    """Read a frame-time log and write its frame rates down as scores, named as in `scores.frames.DEFINITIONS`.

    ``data``: any delimited log with a frame time for each frame; ``name``: of the scene, put before each figure. The
    percentiles of its curve are kept beside them. A run without a trace keeps the log too.
    Raises BadInput for a log without frame times, or of samples only.
    """
    log, timed = _frame_log(data, where)
    logged = log.trace.get(FRAME_CHANNEL)
    if logged is None:
        there = ", ".join(log.trace.channels) or "none"
        raise BadInput(
            f"no column of frame times was found (channels found: {there}).",
            where=where,
            remedy="The log needs one column with the milliseconds of every frame.",
        )
    if timed and not is_per_frame(logged, log.trace.seconds):
        raise BadInput(
            "its frame times are samples at intervals, not every frame: lows cannot be had from it.",
            where=where,
            remedy="Let the logger write every frame.",
        )
    got = frame_statistics(logged, at_seconds=log.trace.seconds if timed else None, intervals=True)
    note = "; ".join(got.notes)
    written = []
    label = " ".join(name.split())
    for figure, value in got.figures().items():
        score = Score(
            name=f"{label}: {figure}" if label else figure,
            value=value,
            unit=UNITS.get(figure, "fps"),
            higher_is_better=figure not in UNITS,
            note=note,
        )
        written.append((_add(journal, unit_name, target, score), score))
    curve = curve_scores(label, got.percentiles_ms)
    journal.add_scores(unit_name, curve, run_id=target.run_id, configuration=target.configuration)
    notes = [*_cautions(target), *got.notes, *(_problem(one) for one in log.problems)]
    if target.run_id is not None and not journal.has_trace(target.run_id):
        journal.add_trace(target.run_id, log.trace if timed else _added_up(logged))
        notes.append(f"the frame log is kept as the trace of run {target.run_id}")
    shown = {figure: DEFINITIONS[figure] for figure in got.figures()}
    return Written(target, scores=tuple(written), frames=got, definitions=shown, notes=tuple(notes))


def _frame_log(data: bytes, where: str) -> tuple[ImportedLog, bool]:
    """The log as read, and whether its times are to be trusted: a bare list of milliseconds tells none of its own."""
    from surefoot.logs import read_log

    try:
        return read_log(data), True
    except BadInput as error:
        for corrections in ({}, {"column 1": FRAME_CHANNEL}):
            try:
                log = read_log(data, corrections=corrections, interval_seconds=0.001)
            except BadInput:
                continue
            if log.trace.get(FRAME_CHANNEL) is not None:
                return log, False
        raise BadInput(error.what, where=where, remedy=error.remedy) from None


def _problem(problem: Problem) -> str:
    place = ", ".join(
        part
        for part in (
            f"line {problem.line}" if problem.line else "",
            f"column {problem.column!r}" if problem.column else "",
        )
        if part
    )
    text = problem.text.rstrip(".")
    return f"{place}: {text}" if place else text


def _added_up(frame_ms: Floats) -> Trace:
    """A trace of a log without times of its own: each frame ends when those before it and it have passed."""
    frames = frame_ms[np.isfinite(frame_ms) & (frame_ms > 0)]
    return Trace(np.cumsum(frames) / 1000, {FRAME_CHANNEL: frames})


def write_reading(journal: Journal, unit_name: str, target: Target, values: dict[str, Any]) -> Written:
    """Write an instrument reading down. ``values``: the fields of `Reading`. Raises BadInput for one that cannot be."""
    kind = str(values.get("kind", ""))
    reading = validated(Reading, values, f"{kind} reading")
    if reading.background is not None and kind != "sound":
        raise BadInput("a background level belongs to a sound reading only.", where=f"{kind} reading")
    sound = corrected_level(reading.value, reading.background) if kind == "sound" else None
    surface = judge(reading.value) if kind == "surface" else None
    if kind in _RANGES:
        low, high, unit_text = _RANGES[kind]
        if not low <= reading.value <= high:
            raise BadInput(
                f"{reading.value:g} {unit_text} cannot be.",
                where=f"{kind} reading",
                remedy=f"From {low:g} to {high:g} {unit_text}.",
            )
    number = journal.add_reading(unit_name, reading, run_id=target.run_id, configuration=target.configuration)
    notes = [*_cautions(target)]
    if kind in ("sound", "surface") and not reading.place:
        notes.append("no place was given: readings are compared with those of the same place only (--place)")
    return Written(target, readings=((number, reading),), sound=sound, surface=surface, notes=tuple(notes))


def _add(journal: Journal, unit_name: str, target: Target, score: Score) -> int:
    return journal.add_score(unit_name, score, run_id=target.run_id, configuration=target.configuration)


def _cautions(target: Target) -> tuple[str, ...]:
    return (target.caution,) if target.caution else ()


def _refuse_slip(journal: Journal, unit_name: str, score: Score, sure: bool) -> None:
    others = [entry.score for entry in journal.scores(unit_name) if entry.score.name == score.name]
    if sure or not others:
        return
    units = sorted({other.unit for other in others})
    if score.unit not in units:
        raise BadInput(
            f"{score.name!r} was written down in {' and '.join(units)} so far, not in {score.unit}.",
            remedy="Give --unit as before, another name, or --sure.",
        )
    if any(other.higher_is_better != score.higher_is_better for other in others if other.unit == score.unit):
        raise BadInput(
            f"{score.name!r} was written down with the other side as the better one so far.",
            remedy="Leave out or add --lower-is-better, give another name, or --sure.",
        )
    middle = _median([other.value for other in others if other.unit == score.unit])
    if middle > 0 and not middle / FAR_OFF <= score.value <= middle * FAR_OFF:
        raise BadInput(
            f"{score.value:g} is far from the other values of {score.name!r} (median {middle:g}): a slip?",
            remedy="The journal keeps it for good; add --sure if it is right.",
        )


def _median(values: Sequence[float]) -> float:
    return float(np.median(values))
