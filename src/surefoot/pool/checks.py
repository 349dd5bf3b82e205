"""Whether a pool is fit to lend: does a unit look like the others, do batches drift, were outcomes mislogged, is a
platform two, or two platforms one. Each finding is told in words with its figures; nothing is left out in silence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from surefoot.pool.groups import Member
from surefoot.pool.likelihood import FitGrid, fit_grid, unit_likelihood
from surefoot.search.evidence import Evidence, Goal
from surefoot.search.lent import EdgePrior
from surefoot.search.own_evidence import doubts
from surefoot.units import Knob

Floats = NDArray[np.float64]

FEWEST = 8
"""Units in a group below which nothing is tested: anything could be chance."""
FEWEST_OF_SOURCE = 4
SURE = 0.01
"""Chance of a false alarm of one check, those of one kind taken together (Holm 1979)."""
UNLIKE = 0.02
"""A unit further out than this share of what the pool expects, either side, is told to be unlike the pool."""
MIXED_GAIN = 8.0
"""Gain in log likelihood of two humps over one that is told: about chi-square with 2 more parameters at 1 in 3000."""
ALIKE_NAMES = 0.85


@dataclass(frozen=True, slots=True)
class Finding:
    """What a check found. ``check``: ``batches``, ``sources``, ``mislogged``, ``mixed`` or ``names``; ``says``: in
    words, with what to do."""

    check: str
    says: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """Whether a unit is like a pool's, by its own runs. ``tail``: chance that a unit of the pool lies so far out
    (two-sided, of the edge: a prior predictive check, Box 1980); ``weight``: what the pool still weighs for the unit,
    ``weight_before`` any run; ``says``: in words."""

    tail: float
    weight: float
    weight_before: float
    edge: float
    expected: float
    says: str

    @property
    def unlike(self) -> bool:
        """Whether it is to be told."""
        return self.tail < UNLIKE or self.weight < 0.5 * self.weight_before


def likeness(knob: Knob, evidence: Sequence[Evidence], prior: EdgePrior, wide: Floats) -> Likeness | None:
    """Compare a unit's runs with what the pool expected of it; None before its first failure, when its edge could be
    anywhere deeper. ``wide``: the wide prior on `fit_grid` of the knob."""
    if not any(piece.failed for piece in evidence):
        return None
    grid = fit_grid(knob)
    like = unit_likelihood(grid, evidence)
    expected = prior.density(grid.edge[:, None], grid.log_slope[None, :])
    expected = expected / expected.sum()
    mean, deviation = _edge(grid, like * wide)
    middle, spread = _edge(grid, expected)
    # The edge that the runs alone tell is as uncertain as they are: that much is added to what the pool expects.
    blurred = _blurred(grid, expected.sum(axis=1), deviation)
    below = float(blurred[grid.edge <= mean].sum())
    tail = 2.0 * min(below, 1.0 - below)
    by_pool, by_wide = float((like * expected).sum()), float((like * wide).sum())
    weight = prior.weight * by_pool / max(prior.weight * by_pool + (1.0 - prior.weight) * by_wide, 1e-300)
    found = Likeness(max(tail, 0.0), weight, prior.weight, mean, middle, "")
    says = (
        f"{knob.name}: its own runs put the edge at {knob.describe(round(max(mean, 0.0)))}; the pool expected "
        f"{knob.describe(round(max(middle, 0.0)))}, give or take {spread:.0f} {knob.unit}. "
    )
    if found.unlike:
        says += (
            f"It is unlike the {prior.units} units of {prior.group}: fewer than {max(tail, 0.001) * 100:.2g} % of them "
            f"lie so far out, and the pool now weighs {weight:.0%}. Is it the platform that its card says?"
        )
    else:
        says += f"It is like the pool's units, and the pool weighs {weight:.0%}."
    return Likeness(found.tail, weight, prior.weight, mean, middle, says)


def _edge(grid: FitGrid, weight: Floats) -> tuple[float, float]:
    on_edge = weight.sum(axis=1) / weight.sum()
    mean = float(on_edge @ grid.edge)
    return mean, float(np.sqrt(on_edge @ (grid.edge - mean) ** 2))


def _blurred(grid: FitGrid, on_edge: Floats, deviation: float) -> Floats:
    kernel = np.exp(-0.5 * ((grid.edge[:, None] - grid.edge[None, :]) / max(deviation, 1e-9)) ** 2)
    made = kernel @ on_edge
    return np.asarray(made / made.sum())


def edges_of(knob: Knob, likelihoods: Sequence[Floats], wide: Floats) -> Floats:
    """Mean edge of each unit by its own runs and the wide prior, shape (units,)."""
    grid = fit_grid(knob)
    return np.array([_edge(grid, one * wide)[0] for one in likelihoods])


def check_group(knob: Knob, members: Sequence[Member], likelihoods: Sequence[Floats], wide: Floats) -> list[Finding]:
    """Every check of one platform's units under one knob."""
    if len(members) < FEWEST:
        return []
    edges = edges_of(knob, likelihoods, wide)
    found = [*_batches(knob, members, edges), *_sources(knob, members, edges), *_mislogged(knob, members)]
    return found + _mixed(knob, likelihoods)


def _batches(knob: Knob, members: Sequence[Member], edges: Floats) -> list[Finding]:
    """Whether edges move with the month: Spearman's rank correlation."""
    from scipy.stats import spearmanr

    months = np.array([_month(member.month) for member in members])
    if len(set(months)) < 3:
        return []
    rank = spearmanr(months, edges)
    if not rank.pvalue < SURE:
        return []
    slope = float(np.polyfit(months, edges, 1)[0])
    word = "deeper" if slope > 0 else "shallower"
    return [
        Finding(
            "batches",
            f"{knob.name}: edges drift: later units lie {word}, about {abs(slope) * 12:.3g} {knob.unit} a year (chance "
            f"of so much by luck {rank.pvalue:.1g}). A new batch may be unlike the pool: build one from recent months.",
        )
    ]


def _month(text: str) -> float:
    year, _, month = text.partition("-")
    return float(year or 0) * 12 + float(month or 0)


def _sources(knob: Knob, members: Sequence[Member], edges: Floats) -> list[Finding]:
    """Whether one source's edges lie elsewhere than all the others': Mann and Whitney, each source against the rest."""
    from scipy.stats import mannwhitneyu

    sources = np.array([member.source for member in members])
    tested = [
        (str(name), float(mannwhitneyu(edges[sources == name], edges[sources != name]).pvalue))
        for name in sorted(set(sources))
        if FEWEST_OF_SOURCE <= (sources == name).sum() <= len(members) - FEWEST_OF_SOURCE
    ]
    found = []
    for name, chance in _holm(tested):
        apart = float(np.median(edges[sources == name]) - np.median(edges[sources != name]))
        found.append(
            Finding(
                "sources",
                f"{knob.name}: the edges from source {name[:6]} lie {abs(apart):.3g} {knob.unit} "
                f"{'deeper' if apart > 0 else 'shallower'} than the others' (chance {chance:.1g}): another load, room "
                "or way of logging? Build without it to see what it changes.",
            )
        )
    return found


def _mislogged(knob: Knob, members: Sequence[Member]) -> list[Finding]:
    """Runs that the same unit's other runs contradict, by source: one tester's mistakes stand out. Binomial test."""
    from scipy.stats import binomtest

    runs: dict[str, int] = {}
    bad: dict[str, int] = {}
    for member in members:
        runs[member.source] = runs.get(member.source, 0) + len(member.evidence)
        bad[member.source] = bad.get(member.source, 0) + len(_odd(knob, member.evidence))
    total, of = sum(bad.values()), sum(runs.values())
    found = []
    if of and total / of > MISLOGGED_SHARE:
        found.append(
            Finding(
                "mislogged",
                f"{knob.name}: {total} of {of} runs contradict others of the same unit ({total / of:.1%}). Holds far "
                "deeper than a failure are not believed; a failure by slip still draws the fit shallower.",
            )
        )
    tested = []
    for name in sorted(runs):
        rest = (total - bad[name] + 1.0) / (of - runs[name] + 20.0)
        if bad[name] > 1:
            tested.append((name, float(binomtest(bad[name], runs[name], rest, alternative="greater").pvalue)))
    for name, chance in _holm(tested):
        found.append(
            Finding(
                "mislogged",
                f"{knob.name}: of the {runs[name]} runs from source {name[:6]} {bad[name]} contradict others of the "
                f"same unit, far more than elsewhere (chance {chance:.1g}). Were outcomes logged wrongly there?",
            )
        )
    return found


MISLOGGED_SHARE = 0.02


def _odd(knob: Knob, evidence: Sequence[Evidence]) -> set[int]:
    """Places of runs that others of the unit contradict: holds that are not believed, and lone failures well
    shallower than what held for long twice over."""
    odd = {doubt.at for doubt in doubts(knob, evidence, Goal())}
    for at, piece in enumerate(evidence):
        if piece.failed:
            deeper = [one.minutes for one in evidence if not one.failed and one.depth > piece.depth + 2 * knob.step]
            if len(deeper) >= 2 and sum(deeper) > 10.0:
                odd.add(at)
    return odd


def _mixed(knob: Knob, likelihoods: Sequence[Floats]) -> list[Finding]:
    """Whether two humps of edges explain the units far better than one: a platform of two kinds."""
    grid = fit_grid(knob)
    on_edge = np.stack([one.sum(axis=1) for one in likelihoods])
    typical = grid.typical
    middles = np.linspace(0.0, float(grid.edge[-1]), 50)
    spreads = np.array([2.0, 3.0, 4.5, 7.0, 10.0]) * typical
    apart = (grid.edge[None, None, :] - middles[None, :, None]) / spreads[:, None, None]
    table = np.exp(-0.5 * apart**2)
    table /= np.maximum(table.sum(axis=2, keepdims=True), 1e-300)
    like = np.einsum("sme,ue->smu", table, on_edge) + 1e-300
    one = float(np.log(like).sum(axis=2).max())
    best, where = -np.inf, (0.0, 0.0, 0.5)
    for at in range(spreads.size):
        for share in (0.3, 0.5, 0.7):
            both = np.log(share * like[at][:, None, :] + (1.0 - share) * like[at][None, :, :]).sum(axis=2)
            i, j = np.unravel_index(int(both.argmax()), both.shape)
            far = abs(middles[i] - middles[j]) > 3.0 * spreads[at]
            if far and both[i, j] > best:
                best, where = float(both[i, j]), (float(middles[i]), float(middles[j]), share)
    if best - one < MIXED_GAIN:
        return []
    first, second = sorted(where[:2])
    return [
        Finding(
            "mixed",
            f"{knob.name}: the edges stand in two humps, about {knob.describe(round(first))} and "
            f"{knob.describe(round(second))}: two kinds of part under one name? What is lent counts both, so is wide.",
        )
    ]


def names_alike(platforms: Mapping[str, set[str]]) -> list[Finding]:
    """Platforms whose names differ by little, with the months of each: one renamed, or written in two ways."""
    found = []
    for one, other in combinations(sorted(platforms), 2):
        if SequenceMatcher(None, one, other).ratio() < ALIKE_NAMES or _numbers(one) != _numbers(other):
            continue
        after = min(platforms[other]) > max(platforms[one]) or min(platforms[one]) > max(platforms[other])
        when = "; one stops where the other begins" if after else ""
        found.append(
            Finding(
                "names",
                f"The platforms {one!r} and {other!r} are named almost alike{when}. If they are one, write it alike on "
                "the cards and build anew: as it is, neither helps the other but through its family.",
            )
        )
    return found


def _numbers(text: str) -> list[str]:
    """The digits of a name: parts that differ in them are different parts."""
    import re

    return re.findall(r"\d+", text)


def _holm(tested: Sequence[tuple[str, float]]) -> list[tuple[str, float]]:
    """Those that stand when so many were tested at once: Holm 1979, step-down."""
    found = []
    for at, (name, chance) in enumerate(sorted(tested, key=lambda pair: pair[1])):
        if chance * (len(tested) - at) >= SURE:
            break
        found.append((name, chance))
    return found
