"""Whether differences to a baseline are real, by the way the runs were taken."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from surefoot.runs import Floats
from surefoot.scores.blocks import within_blocks
from surefoot.scores.bootstrap import FEWEST_RUNS, bootstrap_difference
from surefoot.scores.design import Trial
from surefoot.scores.drift import AgainstDrift, DriftTests, Taken, against_drift, drift_tests, how_taken
from surefoot.scores.independent import one_spread
from surefoot.scores.many_to_one import Reach
from surefoot.scores.means import Difference, resolution_of, welch
from surefoot.scores.multiple import holm
from surefoot.scores.students_t import upper


@dataclass(frozen=True, slots=True)
class Value:
    """One value of one run, as it is judged.

    ``at``: when it was made, any ascending number, None where not known; ``trial``, ``block``: where it was one of a
    trial; ``room``: Celsius.
    """

    value: float
    at: float | None = None
    trial: int | None = None
    block: int | None = None
    room: float | None = None

    @property
    def place(self) -> tuple[int, int] | None:
        """Trial and block, None where it was part of none."""
        return None if self.trial is None or self.block is None else (self.trial, self.block)


@dataclass(frozen=True, slots=True)
class Verdictless:
    """A difference with its chances of error, before it is called anything.

    ``difference``, ``error``: metric's unit; ``degrees``: of freedom (NaN for a bootstrap); ``p_value``: alone;
    ``adjusted``: corrected for the number of configurations; ``level``: what that must reach, None while a trial is not
    to be judged yet; ``drift_p``: with a drift allowed for, NaN where it need not be; ``drift_error``,
    ``drift_degrees``: of that; ``drift``: whether one is seen; ``taken``: how; ``blocks``: of a trial; ``method``;
    ``draws``: of a bootstrap, the absolute studentised differences, ascending; ``reach``: of its interval.
    """

    difference: float
    error: float
    degrees: float
    p_value: float
    adjusted: float
    level: float | None
    method: str
    taken: Taken
    blocks: int = 0
    drift_p: float = math.nan
    drift_error: float = math.nan
    drift_degrees: float = math.nan
    drift: DriftTests | None = None
    draws: Floats | None = field(default=None, repr=False, compare=False)
    reach: Reach | None = None

    def times(self, parts: int) -> Verdictless:
        """The same as one of several families that share the chance of error."""
        return self if parts == 1 else replace(self, adjusted=min(1.0, self.adjusted * parts))

    def half(self, level: float, final: float) -> float:
        """Half the interval: 0 lies outside of it exactly when ``final``, the chance of error with everything counted
        in, stays below ``level``. Where a drift must be allowed for, as wide as that makes it."""
        if not (self.error > 0 and level > 0):
            return math.nan
        if self.draws is not None:
            needed = level * (self.p_value / self.adjusted if self.adjusted > 0 else 1.0)
            rank = max(1, math.ceil((1 - needed) * (self.draws.size + 1) - 1e-9))
            half = float(self.draws[min(rank, self.draws.size) - 1]) * self.error
        elif self.reach is not None:
            half = self.reach.half(level)
        else:
            # One alone, or Welch's tests after Holm: the raw level that the correction left it.
            needed = level * (self.p_value / self.adjusted if self.adjusted > 0 else 1.0)
            half = upper(needed / 2, self.degrees) * self.error
        if not math.isnan(self.drift_p) and self.drift_error < math.inf:
            half = max(half, upper(level / 2, self.drift_degrees) * self.drift_error)
        # What a larger neighbour decided (step by step), or a drift estimated elsewhere, has the last word.
        edge = abs(self.difference)
        return min(half, edge * (1 - 1e-9)) if final <= level else max(half, edge * (1 + 1e-9))


def judge(
    base: Sequence[Value],
    others: Mapping[str, Sequence[Value]],
    *,
    alpha: float,
    trials: Mapping[int, Trial],
    low: bool = False,
    seed: int = 0,
) -> dict[str, Verdictless]:
    """Differences of several configurations to one baseline; each side has two values or more.

    What shares two blocks of a trial with the baseline is judged within blocks, the rest as independent runs and, as
    far as their order is known, against drift. ``low``: a frame-time low, judged by resampling where there are runs
    enough. Where both kinds are there, each is corrected for the other.
    """
    made: dict[str, Verdictless] = {}
    for names, table, trial in _tables(base, others, trials):
        made.update(_in_blocks(names, table, trial, alpha, low, seed))
    rest = {name: values for name, values in others.items() if name not in made}
    if rest:
        found = _independent(base, rest, alpha, low, seed)
        parts = 1 + bool(made)
        made = {**made, **found}
        if parts > 1:
            made = {name: one.times(parts) for name, one in made.items()}
    return {name: made[name] for name in others}


def _tables(
    base: Sequence[Value], others: Mapping[str, Sequence[Value]], trials: Mapping[int, Trial]
) -> list[tuple[list[str], Floats, Trial | None]]:
    """Complete blocks as tables, the baseline first: those measured in most blocks together, the others each alone.

    Blocks of several trials without early looks are one table; of a trial with looks, the latest that has two alone.
    """

    def by_block(values: Sequence[Value]) -> dict[tuple[int, int], float]:
        return {one.place: one.value for one in values if one.place is not None}

    first = by_block(base)
    looked = [number for number, _ in first if number in trials and trials[number].early]
    if looked:
        latest = max(looked)
        first = {place: value for place, value in first.items() if place[0] == latest}
    placed = {name: by_block(values) for name, values in others.items()}
    shared = {name: set(first) & set(found) for name, found in placed.items()}
    shared = {name: places for name, places in shared.items() if len(places) >= 2}
    if not shared:
        return []
    most = max(len(places) for places in shared.values())
    together = [name for name, places in shared.items() if len(places) >= max(2, most / 2)]
    common = sorted(set.intersection(*(shared[name] for name in together)))
    groups = [(together, common)] if len(common) >= 2 else []
    alone = [name for name in shared if not groups or name not in together]
    groups += [([name], sorted(shared[name])) for name in alone]
    made = []
    for names, places in groups:
        table = np.array([[first[place], *(placed[name][place] for name in names)] for place in places])
        numbers = {place[0] for place in places}
        trial = trials.get(max(numbers)) if len(numbers) == 1 or looked else None
        made.append((names, table, trial))
    return made


def _in_blocks(
    names: Sequence[str], table: Floats, trial: Trial | None, alpha: float, low: bool, seed: int
) -> dict[str, Verdictless]:
    found = within_blocks(table, resolution=resolution_of(table.ravel()), bootstrap=low, seed=seed)
    level = trial.level(found.blocks, len(names), alpha) if trial else alpha
    return {
        name: Verdictless(
            difference=float(found.differences[i]),
            error=float(found.errors[i]),
            degrees=float(found.degrees[i]),
            p_value=float(found.p_values[i]),
            adjusted=float(found.adjusted[i]),
            level=level,
            method=found.method,
            taken="in blocks",
            blocks=found.blocks,
            draws=found.draws[i] if found.draws else None,
            reach=found.reaches[i] if found.reaches else None,
        )
        for i, name in enumerate(names)
    }


def _independent(
    base: Sequence[Value], others: Mapping[str, Sequence[Value]], alpha: float, low: bool, seed: int
) -> dict[str, Verdictless]:
    """Welch's test for one, many-to-one with a common spread for several, the bootstrap for lows of many runs."""
    first = np.array([one.value for one in base])
    sides = {name: np.array([one.value for one in values]) for name, values in others.items()}
    resolution = {name: resolution_of(np.concatenate([first, side])) for name, side in sides.items()}
    plain: dict[str, Difference] = {}
    for name, side in sides.items():
        if low and min(side.size, first.size) >= FEWEST_RUNS:
            plain[name] = bootstrap_difference(side, first, resolution=resolution[name], seed=seed)
        else:
            plain[name] = welch(side, first, resolution=resolution[name])
    errors = {name: one.standard_error for name, one in plain.items()}
    degrees = {name: one.degrees for name, one in plain.items()}
    raw = {name: one.p_value for name, one in plain.items()}
    methods: dict[str, str] = {name: one.method for name, one in plain.items()}
    adjusted = dict(zip(raw, (one.p_value for one in holm(list(raw.values()))), strict=True))
    reaches: dict[str, Reach] = {}
    if len(sides) > 1 and "bootstrap" not in methods.values():
        pooled = _many_to_one(first, sides, plain, max(resolution.values()))
        if pooled is not None:
            errors, degrees, raw, adjusted, reaches = pooled
            methods = dict.fromkeys(sides, "many-to-one")
    shown = min((p for p in adjusted.values() if not math.isnan(p)), default=1.0) <= alpha
    taken, tests, against = _drift(base, others, max(resolution.values()), shown)
    # Corrected as the differences themselves are: with many configurations one drift has many chances to fool.
    by_drift = [one.p_value for one in holm(against.p_values.tolist())] if against else []
    return {
        name: Verdictless(
            difference=one.difference,
            error=errors[name],
            degrees=degrees[name],
            p_value=raw[name],
            adjusted=adjusted[name],
            level=alpha,
            method=methods[name],
            taken=taken[i],
            drift_p=by_drift[i] if against else math.nan,
            drift_error=float(against.errors[i]) if against else math.nan,
            drift_degrees=against.degrees if against else math.nan,
            drift=tests,
            draws=one.draws,
            reach=reaches.get(name),
        )
        for i, (name, one) in enumerate(plain.items())
    }


_Found = tuple[dict[str, float], dict[str, float], dict[str, float], dict[str, float], dict[str, Reach]]


def _many_to_one(
    first: Floats, sides: Mapping[str, Floats], plain: Mapping[str, Difference], resolution: float
) -> _Found | None:
    """Several configurations with one spread common to all, where nothing speaks against that."""
    groups = [first, *sides.values()]
    found = one_spread(
        np.array([[one.mean() for one in groups]]),
        np.array([[float(np.sum((one - one.mean()) ** 2)) for one in groups]]),
        np.array([one.size for one in groups], dtype=np.float64),
        floor=resolution**2 / 12,
    )
    if found.common[0] == 0 or any(one.standard_error == 0 for one in plain.values()):
        return None
    errors, degrees, reach = found.errors[0], found.degrees, found.reaches
    raw, adjusted = found.corrected.raw[0], found.corrected.adjusted[0]
    names = list(sides)
    return (
        dict(zip(names, errors.tolist(), strict=True)),
        dict.fromkeys(names, degrees),
        dict(zip(names, raw.tolist(), strict=True)),
        dict(zip(names, adjusted.tolist(), strict=True)),
        dict(zip(names, reach, strict=True)),
    )


def _drift(
    base: Sequence[Value], others: Mapping[str, Sequence[Value]], resolution: float, shown: bool
) -> tuple[list[Taken], DriftTests | None, AgainstDrift | None]:
    """How each one's runs were taken with the baseline's; whether they drifted, where a difference would be shown."""
    marked = [(one, 0) for one in base]
    for number, values in enumerate(others.values(), 1):
        marked += [(one, number) for one in values]
    if any(one.at is None for one, _ in marked):
        return ["order not known"] * len(others), None, None
    marked.sort(key=lambda pair: pair[0].at or 0.0)
    groups = [group for _, group in marked]
    taken = [how_taken([one for one in groups if one in (0, number)]) for number in range(1, len(others) + 1)]
    if not shown:
        return taken, None, None
    y = np.array([one.value for one, _ in marked])
    room = np.array([math.nan if one.room is None else one.room for one, _ in marked])
    known = room if np.all(np.isfinite(room)) else None
    return taken, drift_tests(y, groups, known), against_drift(y, groups, known, resolution=resolution)
