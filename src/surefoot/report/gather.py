"""From the journal to what can be compared: the samples of every configuration of a unit."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypedDict

import numpy as np

from surefoot.errors import BadInput, SurefootError
from surefoot.journal.configured import measured_and_configured
from surefoot.runs import Channel, Run, Trace
from surefoot.scores.bootstrap import WithinLog
from surefoot.scores.comparison import Comparison, Family, LimiterShare, compare
from surefoot.scores.configurations import (
    Configuration,
    find,
    key_of,
    parts_of,
)
from surefoot.scores.design import Trial
from surefoot.scores.efficiency import EqualScore, package_power, per_watt, watts_at_equal_score
from surefoot.scores.frame_curves import FrameCurve, curve_point
from surefoot.scores.metrics import Metric, Sample, of_reading, of_score, of_summary
from surefoot.scores.sound import SoundLevel, corrected_level
from surefoot.scores.supply import SupplyCheck, battery_drain, check_supply, on_battery
from surefoot.scores.surfaces import SurfaceVerdict, judge
from surefoot.scores.trial_plan import TrialPlan
from surefoot.units import Unit, validated

if TYPE_CHECKING:
    from surefoot.journal.reader import JournalReader
    from surefoot.journal.records import ReadingEntry, ScoreEntry

Room = float | Literal["auto"] | None


@dataclass(frozen=True, slots=True)
class SoundAt:
    """A sound reading of a configuration, corrected: ``state`` is ``idle`` or ``load``; ``run_id`` None: of no run."""

    configuration: str
    run_id: int | None
    place: str
    state: str
    level: SoundLevel


@dataclass(frozen=True, slots=True)
class SurfaceAt:
    """A surface reading of a configuration beside the thresholds."""

    configuration: str
    run_id: int | None
    place: str
    state: str
    verdict: SurfaceVerdict


@dataclass(frozen=True, eq=False)
class Gathered:
    """What the journal holds of a unit, ready to be compared.

    ``runs``: all, oldest first; ``measured``: those that stand for their configuration; ``configurations``: in the
    user's order, also named ones without a run; ``samples``: one value of a metric each; ``problems``: what could not
    be used and why, in words.
    """

    unit: Unit
    runs: tuple[Run, ...]
    measured: tuple[Run, ...]
    configurations: tuple[Configuration, ...]
    samples: tuple[Sample, ...]
    scores: tuple[ScoreEntry, ...]
    readings: tuple[ReadingEntry, ...]
    limiters: tuple[LimiterShare, ...] = ()
    sounds: tuple[SoundAt, ...] = ()
    surfaces: tuple[SurfaceAt, ...] = ()
    supply: tuple[SupplyCheck, ...] = ()
    problems: tuple[str, ...] = ()
    trials: tuple[Trial, ...] = ()
    curves: tuple[FrameCurve, ...] = ()

    @property
    def numbers(self) -> dict[str, int]:
        """The number of each configuration by its key, from 1: the same in every command that shows or takes one."""
        return {one.key: number for number, one in enumerate(self.configurations, 1)}

    @property
    def comparable(self) -> tuple[Configuration, ...]:
        """The configurations of which something was measured."""
        having = {sample.configuration for sample in self.samples}
        return tuple(one for one in self.configurations if one.key in having)

    @property
    def room_celsius(self) -> float | None:
        """The median room temperature of the runs measured, in tenths; None when a temperature lacks its room."""
        rooms = [sample.ambient_celsius for sample in self.samples if sample.metric.follows_room]
        known = [room for room in rooms if room is not None]
        return round(float(np.median(known)), 1) if known and len(known) == len(rooms) else None


def hottest(surfaces: Sequence[SurfaceAt]) -> list[SurfaceAt]:
    """The hottest reading of each configuration and place under load, in order."""
    found: dict[tuple[str, str], SurfaceAt] = {}
    for one in surfaces:
        if one.state == "load":
            before = found.get((one.configuration, one.place))
            if before is None or one.verdict.celsius > before.verdict.celsius:
                found[one.configuration, one.place] = one
    return list(found.values())


def gather(journal: JournalReader, unit: Unit | str, *, tell: Callable[[str], None] | None = None) -> Gathered:
    """Read runs, traces, scores and readings of a unit. A trace that cannot be summarised is a problem, not an end.

    ``tell``: called with what is being done, since every trace is summarised anew.
    """
    card = journal.unit(unit) if isinstance(unit, str) else unit
    runs = journal.runs(card.name)
    scores, readings = journal.scores(card.name), journal.readings(card.name)
    measured, found = measured_and_configured(journal, card)
    collecting = _Collecting(card, {one.key: one for one in found}, {run.id: run for run in measured})
    for place, run in enumerate(measured, 1):
        if journal.has_trace(run.id):
            if tell is not None:
                tell(f"Reading run {run.id}, {place} of {len(measured)}")
            collecting.trace(run, journal.trace(run.id), _frame_scores(scores, run))
    for score in scores:
        collecting.score(score)
    for reading in readings:
        collecting.reading(reading)
    samples = collecting.samples
    several_domains = any(sample.metric.name == "gpu.power" for sample in samples)
    samples += [*(package_power(samples) if several_domains else []), *per_watt(samples)]
    return Gathered(
        unit=card,
        runs=tuple(runs),
        measured=tuple(measured),
        configurations=tuple(found),
        samples=tuple(samples),
        scores=tuple(scores),
        readings=tuple(readings),
        limiters=collecting.limiter_shares(),
        sounds=tuple(collecting.sounds),
        surfaces=tuple(collecting.surfaces),
        supply=collecting.supply_checks(),
        problems=tuple(dict.fromkeys(collecting.problems)),
        trials=tuple(designs(journal, card.name)),
        curves=collecting.curves(),
    )


def designs(journal: JournalReader, unit_name: str) -> list[Trial]:
    """The trials of a unit, oldest first."""
    return [
        validated(TrialPlan, entry.plan, f"trial {entry.number}").design(entry.number, ended=entry.ended is not None)
        for entry in journal.trials(unit_name)
    ]


def comparison_of(
    gathered: Gathered,
    wanted: Sequence[str] = (),
    *,
    baseline: str | None = None,
    confidence: float = 0.95,
    room: Room = "auto",
    family: Family = "metric",
    metrics: Sequence[str] = (),
) -> Comparison:
    """Compare configurations of a unit.

    ``wanted``: names or numbers, all when empty; ``baseline``: name or number, when None that of
    the latest trial, else the first; ``room``: Celsius
    that temperatures are re-referred to, None for as measured, ``auto`` for the runs' median where every run has one.
    ``metrics``: names or labels, or parts of them, all when empty. Raises BadInput for one that is not there, or when
    nothing was measured.
    """
    everyone = gathered.comparable
    if not everyone:
        raise BadInput(
            f"nothing was measured on {gathered.unit.name!r} yet.",
            remedy="Measure with `surefoot measure`, or add a `surefoot score` or a `surefoot reading` to a run.",
        )
    chosen = list(dict.fromkeys(find(gathered.configurations, text).key for text in wanted))
    first = find(gathered.configurations, baseline).key if baseline else _of_trial(gathered, chosen)
    if first and chosen and first not in chosen:
        chosen.insert(0, first)
    by_key = {one.key: one for one in gathered.configurations}
    compared = [by_key[key] for key in chosen] if chosen else list(everyone)
    return compare(
        compared,
        _wanted_samples(gathered.samples, metrics),
        baseline=first,
        confidence=confidence,
        room_celsius=gathered.room_celsius if room == "auto" else room,
        family=family,
        limiters=gathered.limiters,
        trials=gathered.trials,
    )


def _of_trial(gathered: Gathered, chosen: Sequence[str]) -> str | None:
    """The baseline of the latest trial, where it was measured and is among the configurations wanted; else None."""
    there = {one.key for one in gathered.comparable}
    for trial in reversed(gathered.trials):
        key = trial.configurations[0]
        if key in there and (not chosen or key in chosen):
            return key
    return None


def _wanted_samples(samples: Sequence[Sample], metrics: Sequence[str]) -> Sequence[Sample]:
    if not metrics:
        return samples
    there: dict[str, Metric] = {sample.metric.name: sample.metric for sample in samples}
    chosen: set[str] = set()
    for text in metrics:
        wanted = text.strip().casefold()
        exact = {name for name, one in there.items() if wanted in (name.casefold(), one.label.casefold())}
        part = {name for name, one in there.items() if wanted in name.casefold() or wanted in one.label.casefold()}
        if not wanted or not (exact or part):
            raise BadInput(f"there is no metric {text!r}.", remedy=f"Those measured: {'; '.join(there) or 'none'}.")
        chosen |= exact or part
    return [sample for sample in samples if sample.metric.name in chosen]


def equal_scores(comparison: Comparison) -> tuple[EqualScore, ...]:
    """The watts at the baseline's score, for every score and frame rate of which more is better."""
    return tuple(
        one
        for row in comparison.rows
        if row.metric.group in ("score", "frames") and row.metric.better == "higher" and "low" not in row.metric.label
        for one in watts_at_equal_score(comparison, row.metric.name)
    )


def _frame_scores(scores: Sequence[ScoreEntry], run: Run) -> bool:
    """Whether a run has frame rates written down, so that its trace need not be counted once more."""
    return any(entry.run_id == run.id and entry.score.unit == "fps" for entry in scores)


def _said_of(level: SoundLevel) -> str:
    """What a reader of a table must know of a level; the correction itself is in `Gathered.sounds`."""
    if level.is_upper_bound:
        return "upper bound: less than 6 dB above the background"
    return "not corrected: no background was measured" if level.background is None else ""


class _When(TypedDict):
    at: float | None
    trial: int | None
    block: int | None


class _Collecting:
    """Turns what was recorded into samples, one kind a method."""

    def __init__(self, unit: Unit, found: dict[str, Configuration], runs: dict[int, Run]) -> None:
        self.unit = unit
        self.found = found
        self.runs = runs
        self.samples: list[Sample] = []
        self.sounds: list[SoundAt] = []
        self.surfaces: list[SurfaceAt] = []
        self.problems: list[str] = []
        # The journal's order, which a wrong clock does not turn round.
        self._order = {run_id: float(place) for place, run_id in enumerate(runs)}
        self._within: dict[tuple[int, str], tuple[float, WithinLog]] = {}
        self._points: dict[tuple[str, int | None, str], dict[float, float]] = {}
        self._logged: dict[int, FrameCurve] = {}
        self._scenes: dict[int | None, set[str]] = defaultdict(set)
        self._shares: dict[tuple[str, str], list[dict[str, float]]] = defaultdict(list)
        self._sentences: dict[tuple[str, str], str] = {}
        self._wall: dict[str, list[float]] = defaultdict(list)
        self._drains: dict[str, list[float]] = defaultdict(list)
        self._battery: dict[tuple[str, int], list[ReadingEntry]] = defaultdict(list)

    def trace(self, run: Run, trace: Trace, frames_known: bool) -> None:
        """Summary, limiter shares, frames and battery of a run's trace."""
        from surefoot.thermal.limiter import Limits, limiters
        from surefoot.thermal.summary import summarise

        key = key_of(parts_of(run))
        held: dict[str, float] = {}
        try:
            for domain, report in limiters(trace, Limits.of(self.unit)).items():
                if any(report.shares.values()):
                    self._shares[key, domain].append(dict(report.shares))
                    self._sentences[key, domain] = report.sentence
                    held[domain] = report.shares.get("thermal", 0.0)
            summary = summarise(trace)
        except SurefootError as error:
            self.problems.append(f"Run {run.id}: its trace could not be summarised: {error.message()}")
            summary = {}
        for name, value in summary.items():
            metric = of_summary(name)
            if metric is not None and np.isfinite(value):
                self.samples.append(self._of_trace(metric, key, run, float(value), held))
        self._frames(run, key, trace, frames_known)
        charge = trace.get("battery.charge")
        if charge is not None and not on_battery(run.plan.conditions.supply):
            drain = battery_drain(trace.seconds / 60, charge)
            if drain is not None:
                self._drains[key].append(drain)

    def _of_trace(self, metric: Metric, key: str, run: Run, value: float, held: dict[str, float]) -> Sample:
        domain = Channel.parse(metric.name.partition(" ")[0]).domain
        return Sample(
            metric,
            key,
            value,
            run_id=run.id,
            **self._when(run),
            ambient_celsius=run.plan.conditions.ambient_celsius,
            ceiling_celsius=self.unit.ceilings_celsius.get(domain) if metric.follows_room else None,
            held_by_heat_share=held.get(domain) if metric.follows_room else None,
        )

    def _frames(self, run: Run, key: str, trace: Trace, known: bool) -> None:
        from surefoot.runs import Score
        from surefoot.scores.frames import FRAME_CHANNEL, UNITS, frame_statistics, is_per_frame

        logged = trace.get(FRAME_CHANNEL)
        if logged is None:
            return
        # Rows of other sensors in the same trace have no frame; they are no rejected frames.
        there = ~np.isnan(logged)
        frames, at = logged[there], trace.seconds[there]
        if not is_per_frame(frames, at):
            self.problems.append(
                f"Run {run.id}: its frame times are samples, not every frame: no frame rates from them."
            )
            return
        alone = len(self.found[key].run_ids) == 1
        try:
            got = frame_statistics(frames, at_seconds=at, intervals=alone)
        except SurefootError as error:
            self.problems.append(f"Run {run.id}: its frame log cannot be used: {error.message()}")
            return
        self._logged[run.id] = FrameCurve(key, run.id, "", got.percentiles_ms)
        note = "; ".join(got.notes)
        for name, value in got.figures().items():
            if known:
                # Frame rates that were written down as scores count; the log only adds its own spread to them.
                if name in got.intervals:
                    self._within[run.id, name] = (value, got.intervals[name])
                continue
            unit = UNITS.get(name, "fps")
            metric = of_score(Score(name=name, value=value, unit=unit, higher_is_better=unit == "fps"))
            ambient = run.plan.conditions.ambient_celsius
            within = got.intervals.get(name)
            sample = Sample(metric, key, value, run.id, ambient, within=within, note=note, **self._when(run))
            self.samples.append(sample)

    def score(self, entry: ScoreEntry) -> None:
        """A score of a run or of a configuration."""
        key = self._key(entry)
        point = curve_point(entry.score)
        if point is not None:
            # No figure to be compared; a log of no use is told of by its frame rates.
            if key is not None:
                scene, percent = point
                self._points.setdefault((key, entry.run_id, scene), {})[percent] = entry.score.value
            return
        if key is None:
            self._not_used(f"score {entry.score.name!r}", entry)
            return
        scene, _, figure = entry.score.name.rpartition(": ")
        if figure == "fps":
            self._scenes[entry.run_id].add(scene)
        metric = of_score(entry.score)
        same = next((one.metric for one in self.samples if one.metric.name == metric.name), None)
        if same is not None and same.better != metric.better:
            self.problems.append(f"Score {entry.score.name!r} was entered both as higher and as lower is better.")
        within = self._within.get((entry.run_id or 0, entry.score.name.rpartition(": ")[2]))
        # A run may hold the log of one scene and the scores of several.
        own = within[1] if within and abs(within[0] - entry.score.value) <= 1e-6 * abs(within[0]) else None
        run = self.runs.get(entry.run_id) if entry.run_id is not None else None
        ambient = run.plan.conditions.ambient_celsius if run else None
        note, when = entry.score.note, self._when(run)
        made = Sample(same or metric, key, entry.score.value, entry.run_id, ambient, within=own, note=note, **when)
        self.samples.append(made)

    def reading(self, entry: ReadingEntry) -> None:
        """A reading of an instrument: sound corrected, surfaces judged, wall power and battery kept for the supply."""
        key, reading = self._key(entry), entry.reading
        if key is None:
            self._not_used(f"{reading.kind} reading of {reading.value:g}", entry)
            return
        place = reading.place.strip().lower()
        run = self.runs.get(entry.run_id) if entry.run_id is not None else None
        ambient, when = self._ambient(run, key), self._when(run)
        made = Sample(of_reading(reading), key, reading.value, entry.run_id, ambient, note=reading.note, **when)
        try:
            if reading.kind == "sound":
                level = corrected_level(reading.value, reading.background)
                self.sounds.append(SoundAt(key, entry.run_id, place, reading.state, level))
                made = replace(made, value=level.level, at_most=level.is_upper_bound, note=_said_of(level))
            elif reading.kind == "surface":
                self.surfaces.append(SurfaceAt(key, entry.run_id, place, reading.state, judge(reading.value)))
            elif reading.kind == "wall-power":
                if reading.state == "load" and not (run and on_battery(run.plan.conditions.supply)):
                    self._wall[key].append(reading.value)
            elif run is not None and not on_battery(run.plan.conditions.supply):
                self._battery[key, run.id].append(entry)
        except BadInput as error:
            self.problems.append(f"Reading {entry.id}: {error.message()}")
            return
        # A battery's charge says something only as a drain: see the supply check.
        if reading.kind != "battery":
            self.samples.append(made)

    def _when(self, run: Run | None) -> _When:
        """When a run was made among the others, and its place in a trial."""
        place = run.plan.place if run else None
        return {
            "at": self._order[run.id] if run else None,
            "trial": place.trial if place else None,
            "block": place.block if place else None,
        }

    def curves(self) -> tuple[FrameCurve, ...]:
        """The frame-time curves of runs and configurations: as written down with scores, else from a run's own log."""
        kept = [FrameCurve(key, run_id, scene, points) for (key, run_id, scene), points in self._points.items()]
        written = {one.run_id for one in kept}
        logged = [one for run_id, one in self._logged.items() if run_id not in written and one.milliseconds]
        # A log kept before its curve was: of the one scene that the run's frame rates name.
        logged = [
            replace(one, scene=next(iter(self._scenes[one.run_id]))) if len(self._scenes[one.run_id]) == 1 else one
            for one in logged
        ]
        return (*kept, *logged)

    def limiter_shares(self) -> tuple[LimiterShare, ...]:
        """Mean shares of each configuration and domain, in the order of the configurations."""
        made = []
        for key in self.found:
            for (owner, domain), shares in self._shares.items():
                if owner == key:
                    labels = dict.fromkeys(label for one in shares for label in one)
                    mean = {label: float(np.mean([one.get(label, 0.0) for one in shares])) for label in labels}
                    sentence = self._sentences[key, domain] if len(shares) == 1 else ""
                    made.append(LimiterShare(key, domain, len(shares), mean, sentence))
        return tuple(made)

    def supply_checks(self) -> tuple[SupplyCheck, ...]:
        """The supply of each configuration of which wall power or a battery was read."""
        for (key, _), entries in self._battery.items():
            entries.sort(key=lambda entry: entry.reading.at or entry.at)
            at = [(entry.reading.at or entry.at).timestamp() / 60 for entry in entries]
            drain = battery_drain(at, [entry.reading.value for entry in entries])
            if drain is not None:
                self._drains[key].append(drain)
        return tuple(
            check_supply(
                key,
                max(self._wall[key]) if self._wall.get(key) else None,
                self.unit.supply_watts,
                max(self._drains[key]) if self._drains.get(key) else None,
            )
            for key in self.found
            if self._wall.get(key) or self._drains.get(key)
        )

    def _key(self, entry: ScoreEntry | ReadingEntry) -> str | None:
        if entry.run_id is not None:
            run = self.runs.get(entry.run_id)
            return key_of(parts_of(run)) if run else None
        return entry.configuration if entry.configuration in self.found else None

    def _not_used(self, what: str, entry: ScoreEntry | ReadingEntry) -> None:
        if entry.run_id is not None:
            why = f"run {entry.run_id} did not run to its end"
        elif entry.configuration:
            why = f"{entry.configuration!r} is no configuration"
        else:
            why = "it belongs to no run and no configuration"
        self.problems.append(f"The {what} is not compared: {why}.")

    def _ambient(self, run: Run | None, key: str) -> float | None:
        if run is not None:
            return run.plan.conditions.ambient_celsius
        # Read at a configuration: its runs' room, where they agree within a degree.
        ambients = self.found[key].ambients
        return float(np.mean(ambients)) if ambients and max(ambients) - min(ambients) <= 1 else None
