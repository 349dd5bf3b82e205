"""Runs as evidence: which runs say something of which knob, at which depth, and which are left out and why."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from surefoot.errors import BadInput
from surefoot.load_names import chosen_processors
from surefoot.runs import USE, Outcome, Run
from surefoot.search.evidence import Evidence
from surefoot.units import Conditions, Knob, Setting, Unit

NO_LOAD = frozenset({"", "none", "idle", "no load"})
GRAPHICS = frozenset({"gpu", "vram", "graphics"})


@dataclass(frozen=True, slots=True)
class CountedRun:
    """A closed run that says something, with what it says per searched knob.

    ``depths``: depth of every leader, as read back, linked knobs taken into account; ``bears_on``: the leaders the run
    is evidence for when it held; ``causes``: the leaders that may have caused its failure, () when it held or failed
    at stock; ``failed``, ``timed``, ``soft``, ``minutes`` as in `Evidence`; ``doubted``: the leaders for which its
    minutes are not believed (belief.py): it then bears on them no more, and of a failure the time says nothing.
    """

    run: Run
    depths: Mapping[str, float]
    bears_on: tuple[str, ...]
    failed: bool
    causes: tuple[str, ...] = ()
    doubted: tuple[str, ...] = ()

    @property
    def minutes(self) -> float:
        """Minutes under load, to the end or to the failure."""
        return self.run.minutes

    def minutes_on(self, knob: str) -> float:
        """Minutes under a load that works one knob: ordinary use may work one part for longer than another."""
        loaded = self.run.closing.detail.get("loaded") if self.run.closing and self.is_use else None
        if isinstance(loaded, Mapping) and isinstance(told := loaded.get(knob), int | float):
            return float(min(max(told, 0.0), self.minutes)) if not self.failed else self.minutes
        return self.minutes

    @property
    def is_use(self) -> bool:
        """Whether it was ordinary use."""
        return self.run.plan.purpose == USE

    @property
    def is_told(self) -> bool:
        """Whether somebody wrote it down, the tool not having seen it."""
        return self.run.plan.source == "hand"

    @property
    def timed(self) -> bool:
        """Whether the time of a failure is known."""
        return self.run.closing is None or self.run.closing.timed

    @property
    def soft(self) -> bool:
        """Whether it failed without a crash."""
        return self.run.outcome is not None and self.run.outcome.is_soft

    @property
    def at_stock(self) -> bool:
        """Whether every knob was at stock."""
        return not any(self.depths.values())

    def evidence(self, knob: str, failed: bool) -> Evidence:
        """The run as evidence on one knob."""
        timed = not failed or (self.timed and knob not in self.doubted)
        minutes = self.minutes_on(knob)
        return Evidence(self.depths[knob], minutes, failed, timed, failed and self.soft, self.is_use, self.is_told)


@dataclass(frozen=True, slots=True)
class RunsRead:
    """The runs that count, oldest first, and how many were left out for which reason."""

    counted: tuple[CountedRun, ...]
    left_out: Mapping[str, int] = field(default_factory=dict)

    def sentences(self) -> tuple[str, ...]:
        """What was left out, in words."""
        return tuple(
            f"{count} {'run was' if count == 1 else 'runs were'} left out: {reason}."
            for reason, count in self.left_out.items()
        )


def read_runs(unit: Unit, runs: Iterable[Run], *, conditions: Conditions | None = None) -> RunsRead:
    """Sort runs into those that count as evidence and those that do not.

    Closed runs only. `overheat` and `void` say nothing, nor does `slow` where no clock knob was off stock. A run at a
    setting that names a knob the card does not know, or that stands on the safe side of stock, is left out, as is one
    without a load. With ``conditions``, a run under another firmware is left out, and one under another driver is no
    evidence for graphics knobs; a version that is not known on either side matches anything. Purposes do not matter:
    a baseline, a soak and a game session are runs like any other.
    """
    ordered = sorted(runs, key=lambda run: (run.opened_at, run.id))
    used = _loads_used(ordered)
    counted: list[CountedRun] = []
    left_out: dict[str, int] = {}
    for run in ordered:
        found = _count(unit, run, used, conditions)
        if isinstance(found, CountedRun):
            counted.append(found)
        elif found:
            left_out[found] = left_out.get(found, 0) + 1
    return RunsRead(tuple(counted), left_out)


def _count(unit: Unit, run: Run, used: Mapping[str, frozenset[str]], conditions: Conditions | None) -> CountedRun | str:
    """The run as evidence, or the reason it is left out ("" for an open run, which is not reported)."""
    outcome = run.outcome
    if outcome is None:
        return ""
    if outcome is Outcome.VOID:
        return "interrupted, no evidence"
    if outcome is Outcome.OVERHEAT:
        return "stopped at the temperature ceiling, which says nothing about stability"
    if run.plan.load.strip().lower() in NO_LOAD:
        return "made without a load"
    if _differs(conditions.firmware if conditions else None, run.plan.conditions.firmware):
        return "made under another firmware, which may move the edge"
    try:
        depths = leader_depths(unit, _meant(unit, run))
    except BadInput:
        return "at a setting that the unit's card does not allow"
    failed = outcome is not Outcome.HELD
    if not failed and run.minutes <= 0:
        return "held for no time at all"
    other_driver = _differs(conditions.driver if conditions else None, run.plan.conditions.driver)
    foreign = {knob.name for knob in unit.leaders() if other_driver and is_graphics(knob.domain)}
    off_stock = [knob for knob in unit.leaders() if depths[knob.name] > 0]
    able = [knob for knob in off_stock if outcome.verdict(knob) is not None]
    if failed and foreign & {knob.name for knob in off_stock}:
        return "failed under another graphics driver, which may move the edge"
    bears = [
        knob.name
        for knob in unit.leaders()
        if knob.name not in foreign and (not off_stock or bears_on(unit, knob, run, used))
    ]
    if not failed:
        if not bears:
            return "made under a load or a driver that says nothing of any knob"
        return CountedRun(run, depths, tuple(bears), False)
    if outcome is Outcome.SLOW and not able:
        return "slow with no clock knob off stock, which says nothing"
    able = [knob for knob in able if governs(unit, knob, failed_core(run))]
    causes = [knob.name for knob in able if knob.name in bears] or [knob.name for knob in able]
    if off_stock and not causes:
        return "failed in a way that none of the knobs off stock can cause"
    return CountedRun(run, depths, tuple(bears), True, tuple(causes))


def _meant(unit: Unit, run: Run) -> Setting:
    """The setting of a run; of a failure written down above stock, the one below it that was meant.

    Surefoot never sets a voltage above stock, so such a value is a slip of the sign. A hold is left out for it; leaving
    out a failure would make the rest look better than it is.
    """
    if run.outcome is None or not (run.outcome.is_crash or run.outcome.is_soft):
        return run.setting
    voltages = {knob.name for knob in unit.knobs if knob.is_voltage}
    turned = {name: -abs(value) for name, value in run.setting.values.items() if name in voltages}
    return run.setting.with_values(turned)


def leader_depths(unit: Unit, setting: Setting) -> dict[str, float]:
    """The depth of every leader at a setting; of linked knobs that differ the shallower one rules (a shared rail).

    Raises BadInput for a knob the card does not know or a value on the safe side of stock.
    """
    depths = unit.depths(setting)
    ruled: dict[str, float] = {}
    for knob in unit.leaders():
        depth = depths[knob.name]
        for follower in unit.followers(knob.name):
            expected = min(depth, follower.deepest)
            if depths[follower.name] < expected - 1e-9:
                depth = depths[follower.name]
        ruled[knob.name] = depth
    return ruled


def bears_on(unit: Unit, knob: Knob, run: Run, used: Mapping[str, frozenset[str]]) -> bool:
    """Whether the run's load exercises the knob; a load of which nothing is known is taken to.

    A run made to search the knob does, and so does any under the knob's own load or one it was searched with. Else
    what the load was noted to exercise when the run was closed decides, or what its card says. A load whose name names
    a domain of the unit bears on that domain only: a processor load held for hours says nothing of a graphics clock.
    """
    load = run.plan.load
    family = (knob, *unit.followers(knob.name))
    names = {member.name for member in family}
    if run.plan.knob in names or load in used.get(knob.name, frozenset()):
        return True
    if load in {member.load for member in family}:
        return True
    exercised = exercised_by(unit, run)
    # A run logged by hand notes no more than its load's name.
    own = cores_of(unit, knob)
    if own and (worked := cores_worked(exercised) or frozenset(chosen_processors(load))) and not worked & own:
        return False
    if exercised:
        domains = {member.domain.lower() for member in family}
        return any(
            part in names or part.lower() in domains or any(domain.startswith(f"{part.lower()}-") for domain in domains)
            for part in exercised
        )
    words = set(_words(load))
    named = {part for part in (part_of(other.domain) for other in unit.knobs) if part in words}
    return not named or bool(named & {part_of(member.domain) for member in family})


def exercised_by(unit: Unit, run: Run) -> tuple[str, ...]:
    """Knobs and domains that a run's load bears on, as noted at its closing or on its card; () when not known."""
    noted = run.closing.detail.get("exercises") if run.closing else None
    if isinstance(noted, list | tuple):
        return tuple(str(part) for part in noted)
    return next((card.exercises for card in unit.loads if card.name == run.plan.load), ())


def cores_worked(exercised: Iterable[str]) -> frozenset[int]:
    """The processors that a load worked alone (``core-3``), as noted; () when it worked all of them."""
    return frozenset(int(part[5:]) for part in exercised if re.fullmatch(r"core-\d+", part))


def cores_of(unit: Unit, knob: Knob) -> frozenset[int]:
    """The processors that a knob and those that move with it govern; () for a knob of the whole part."""
    return frozenset(core for member in (knob, *unit.followers(knob.name)) for core in member.cores)


def failed_core(run: Run) -> int | None:
    """The processor on which a failure was seen, where the load could tell."""
    core = run.closing.detail.get("processor") if run.closing else None
    return core if isinstance(core, int) and not isinstance(core, bool) else None


def governs(unit: Unit, knob: Knob, core: int | None) -> bool:
    """Whether a knob can have caused a failure seen on a processor: not where it governs others alone."""
    own = cores_of(unit, knob)
    return core is None or not own or core in own


def is_graphics(domain: str) -> bool:
    """Whether a knob of this domain belongs to the graphics card, its memory included: the driver then matters."""
    return bool(GRAPHICS & set(_words(domain)))


def plain_evidence(counted: Sequence[CountedRun], knob: str, blamed: Mapping[int, str]) -> tuple[Evidence, ...]:
    """A knob's evidence in order of time, each shared failure given to the one knob named in ``blamed`` by run id.

    A failure with one possible cause is that knob's. A failure at stock is every knob's: the unit has a fault.
    """
    found: list[Evidence] = []
    for item in counted:
        if not item.failed:
            if knob in item.bears_on:
                found.append(item.evidence(knob, False))
        elif item.at_stock or (knob in item.causes and (len(item.causes) == 1 or blamed.get(item.run.id) == knob)):
            found.append(item.evidence(knob, True))
    return tuple(found)


def alone_runs(counted: Sequence[CountedRun], knob: str) -> tuple[CountedRun, ...]:
    """The runs that need no blaming: those that held and bear on a knob, and those that it alone can have failed."""
    return tuple(item for item in counted if (item.causes == (knob,) if item.failed else knob in item.bears_on))


def alone(counted: Sequence[CountedRun], knob: str) -> tuple[Evidence, ...]:
    """`alone_runs` as evidence on the knob."""
    return tuple(item.evidence(knob, item.failed) for item in alone_runs(counted, knob))


def _loads_used(runs: Iterable[Run]) -> dict[str, frozenset[str]]:
    """By knob, the loads under which it has been searched."""
    used: dict[str, set[str]] = {}
    for run in runs:
        if run.plan.knob:
            used.setdefault(run.plan.knob, set()).add(run.plan.load)
    return {name: frozenset(loads) for name, loads in used.items()}


def _differs(now: str | None, then: str | None) -> bool:
    return bool(now) and bool(then) and now != then


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z0-9]+", text.lower())


def part_of(domain: str) -> str:
    """The part of the machine that a domain is of: ``gpu-memory`` is of the ``gpu``."""
    words = _words(domain)
    return "gpu" if GRAPHICS & set(words) else (words[0] if words else "")
