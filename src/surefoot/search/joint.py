"""Several knobs at once: the exact posterior when runs are shared, and what may be claimed of a joint setting.

The knobs' hazards add (competing risks), and the prior on each knob is independent of the others. A run that held at
depths x_1 .. x_K for t hours has likelihood product_k S_k(t), which leaves the knobs independent. A run that failed at
time t has sum_k f_k(t) product_{j != k} S_j(t): a sum over *which knob it was*. So the posterior is a finite mixture,
one term per way to blame every shared failure on one knob, and inside a term the knobs are independent again
(Cox and Oakes, Analysis of Survival Data, ch. 9, competing risks; the mixture is plain algebra). A failure found
some time before t is 1 - product_k S_k(t), written as the sum over the first knob in a fixed order that would have
failed. A failure with one possible cause is no mixture: it is that knob's, by the single-knob likelihood.

``S`` and ``f`` are those of `likelihood.py`, allowances included: each knob has its own frailty in a run, and a shared
failure may be a stray one, which is one cause more (all knobs lived to that moment).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from surefoot.search.evidence import Goal
from surefoot.search.likelihood import SHORTEST_HOURS, log_likelihood, log_survival
from surefoot.search.posterior import Posterior
from surefoot.search.prior import RUN_SPREAD, STRAY_FAILURES, Grid, grid_for
from surefoot.search.run_evidence import CountedRun, alone
from surefoot.search.use_evidence import apart, log_use
from surefoot.units import Knob

Floats = NDArray[np.float64]

MOST_TERMS = 1024
"""Mixture terms up to which the sharing is exact; above it the least likely causes are struck out first."""
HAZARD_BINS = 160
STRAY = ""
"""The cause "none of the knobs", as a name."""


@dataclass(frozen=True, eq=False)
class Branch:
    """One way that a shared failure may have come about: the cause, a constant, and a factor for each knob touched."""

    cause: str
    log_constant: float
    factors: Mapping[str, Floats]


@dataclass(frozen=True, eq=False)
class SharedFailure:
    """A failure that more than one knob may have caused, with its branches."""

    run_id: int
    branches: tuple[Branch, ...]


@dataclass(eq=False)
class _Knob:
    """One knob inside the mixture: its grid, its weights before shared failures are blamed, and the terms' keys."""

    knob: Knob
    grid: Grid
    base: Floats
    keys: NDArray[np.int64] = field(default_factory=lambda: np.zeros(1, dtype=np.int64))
    weights: Floats = field(default_factory=lambda: np.zeros((1, 0)))
    """Per distinct key, normalised weights on the flat grid, shape (number of keys, points)."""


class JointPosterior:
    """The posterior of all knobs of a unit together, after runs that several of them shared.

    ``blame``: run id to the probability of each cause of a shared failure ("" for none of the knobs); ``terms``: how
    many mixture terms there are; ``struck_out``: the probability of the causes that were struck out to stay below
    `MOST_TERMS`, 0 when the sharing is exact.
    """

    def __init__(self, knobs: Sequence[Knob], counted: Sequence[CountedRun], goal: Goal) -> None:
        self.goal = goal
        self._knobs = {knob.name: _Knob(knob, *_start(knob, counted, goal)) for knob in knobs}
        failures = [_branches(item, self._knobs) for item in counted if is_shared(item)]
        kept, self.struck_out = _fit(failures, {name: item.base for name, item in self._knobs.items()})
        # Stepping back asks for the same knob at the same depth again and again.
        self._spectra: dict[tuple[str, float, float, int], NDArray[np.complex128]] = {}
        self._mix(kept)

    def _mix(self, failures: Sequence[SharedFailure]) -> None:
        counts = [len(failure.branches) for failure in failures]
        shape = tuple(counts) or (1,)
        index = np.indices(shape).reshape(len(shape), -1) if counts else np.zeros((0, 1), dtype=np.int64)
        log_weight = np.zeros(int(np.prod(shape)))
        for row, failure in zip(index, failures, strict=True):
            log_weight = log_weight + np.array([branch.log_constant for branch in failure.branches])[row]
        for name, item in self._knobs.items():
            # A knob sees only which factor each failure asks of it; terms that agree in that share one vector.
            asked = np.zeros((log_weight.size, len(failures)), dtype=np.int64)
            for column, (row, failure) in enumerate(zip(index, failures, strict=True)):
                kinds = [0 if name not in branch.factors else at + 1 for at, branch in enumerate(failure.branches)]
                asked[:, column] = np.array(kinds)[row]
            distinct, keys = np.unique(asked, axis=0, return_inverse=True)
            vectors = np.repeat(item.base[None, :], len(distinct), axis=0)
            for column, failure in enumerate(failures):
                for at, branch in enumerate(failure.branches):
                    if name in branch.factors:
                        vectors[distinct[:, column] == at + 1] *= branch.factors[name]
            totals = np.maximum(vectors.sum(axis=1), 1e-300)
            item.keys = keys.reshape(-1)
            item.weights = vectors / totals[:, None]
            log_weight = log_weight + np.log(totals)[item.keys]
        weight = np.exp(log_weight - log_weight.max())
        self._term_weight: Floats = weight / weight.sum()
        self.terms = int(weight.size)
        self.blame: dict[int, dict[str, float]] = {}
        for row, failure in zip(index, failures, strict=True):
            shares: dict[str, float] = {}
            for at, branch in enumerate(failure.branches):
                shares[branch.cause] = shares.get(branch.cause, 0.0) + float(self._term_weight[row == at].sum())
            self.blame[failure.run_id] = shares

    @property
    def exact(self) -> bool:
        """Whether no cause was struck out."""
        return self.struck_out == 0.0

    def most_blamed(self) -> dict[int, str]:
        """Run id to the knob most likely to have caused the shared failure."""
        named = {
            run_id: {name: part for name, part in shares.items() if name != STRAY}
            for run_id, shares in self.blame.items()
        }
        return {run_id: max(shares, key=lambda name: shares[name]) for run_id, shares in named.items() if shares}

    def marginal(self, knob: str) -> Posterior:
        """The posterior of one knob, what the shared runs say of it included."""
        item = self._knobs[knob]
        share = np.bincount(item.keys, weights=self._term_weight, minlength=len(item.weights))
        return Posterior(item.grid, np.asarray((share @ item.weights).reshape(item.grid.log_prior.shape)))

    def failure_chance(self, depths: Mapping[str, float], minutes: float) -> float:
        """Probability that a run of ``minutes`` with the knobs at ``depths`` fails; a knob not named is at stock."""
        held = self._term_weight.copy()
        for name, depth in depths.items():
            if depth > 0:
                item = self._knobs[name]
                survival = np.exp(log_survival(item.grid.hazard(depth).ravel(), minutes / 60.0, RUN_SPREAD))
                held *= (item.weights @ survival)[item.keys]
        return float(np.clip(1.0 - held.sum(), 0.0, 1.0))

    def chance_meets(self, depths: Mapping[str, float], mttf_hours: float | None = None) -> float:
        """Probability that the MTTF with the knobs at ``depths`` is at least ``mttf_hours`` (default: the goal's).

        The background hazard is the unit's, so it counts once. The sum's distribution is had by convolution over
        `HAZARD_BINS` bins of the hazard that may be spent, each knob's share rounded up: never too hopeful.
        """
        wanted = self.goal.mttf_hours if mttf_hours is None else mttf_hours
        tuned = {name: depth for name, depth in depths.items() if depth > 0}
        background = max((item.grid.background for item in self._knobs.values()), default=0.0)
        room = 1.0 / wanted - background
        if room <= 0:
            return 0.0
        if not tuned:
            return 1.0
        length = 1 << int(np.ceil(np.log2(len(tuned) * HAZARD_BINS + 1)))
        product = self._term_weight[:, None].astype(np.complex128)
        for name, depth in tuned.items():
            product = product * self._spectrum(name, depth, room, length)
        total = np.fft.irfft(product.sum(axis=0), length)
        return float(np.clip(total[: HAZARD_BINS + 1].sum(), 0.0, 1.0))

    def _spectrum(self, name: str, depth: float, room: float, length: int) -> NDArray[np.complex128]:
        """Transform of a knob's hazard distribution, per term: shape (terms, length // 2 + 1)."""
        item = self._knobs[name]
        asked = (name, depth, room, length)
        if asked not in self._spectra:
            self._spectra[asked] = self._transform(item, depth, room, length)
        return self._spectra[asked][item.keys]

    def _transform(self, item: _Knob, depth: float, room: float, length: int) -> NDArray[np.complex128]:
        hazard = item.grid.hazard(depth).ravel() - item.grid.background
        bins = np.ceil(hazard / room * HAZARD_BINS - 1e-9)
        inside = bins <= HAZARD_BINS
        at = bins[inside].astype(np.int64)
        spread = np.array([np.bincount(at, weights=row[inside], minlength=HAZARD_BINS + 1) for row in item.weights])
        return np.asarray(np.fft.rfft(spread, length, axis=1))

    def mttf_bound(self, depths: Mapping[str, float], confidence: float) -> float:
        """Hours that the MTTF of the joint setting reaches at ``confidence``, to within 1 %, rounded down.

        Infinite is not among the answers: the background hazard bounds it.
        """
        if not any(depths.values()):
            return 1.0 / max(item.grid.background for item in self._knobs.values())
        low, high = 1e-3, 1.0 / max(item.grid.background for item in self._knobs.values())
        if self.chance_meets(depths, low) < confidence:
            return 0.0
        while high / low > 1.01:
            middle = float(np.sqrt(low * high))
            if self.chance_meets(depths, middle) >= confidence:
                low = middle
            else:
                high = middle
        return low


def is_shared(item: CountedRun) -> bool:
    """Whether more than one knob may have caused the run's failure."""
    return item.failed and len(item.causes) > 1


def _is_timed(item: CountedRun) -> bool:
    """Whether a failure's time is known; one within the first heartbeat came some time before it (likelihood.py)."""
    return item.timed and item.minutes / 60.0 >= SHORTEST_HOURS


def _start(knob: Knob, counted: Sequence[CountedRun], goal: Goal) -> tuple[Grid, Floats]:
    """A knob's grid, and its weights after all that needs no blaming: passes, its own failures, times survived."""
    grid = grid_for(knob, goal)
    log_weight = grid.log_prior.copy()
    bench, use = apart(alone(counted, knob.name))
    log_weight += log_use(grid, use)
    for piece in bench:
        log_weight += log_likelihood(
            grid.hazard(piece.depth),
            piece.minutes / 60.0,
            piece.failed,
            piece.timed,
            spread=RUN_SPREAD,
            stray=STRAY_FAILURES,
        )
    for item in counted:
        hours = item.minutes / 60.0
        depth = item.depths[knob.name]
        if is_shared(item) and _is_timed(item) and knob.name in item.causes:
            log_weight += log_survival(grid.hazard(depth), hours, RUN_SPREAD)
    weight = np.exp(log_weight - log_weight.max()).ravel()
    return grid, np.asarray(weight / weight.sum())


def _branches(item: CountedRun, knobs: Mapping[str, _Knob]) -> SharedFailure:
    """The ways a shared failure may have come about. Survival of a timed one is in the base weights already."""
    hours = max(item.minutes / 60.0, SHORTEST_HOURS)
    hazard = {name: knobs[name].grid.hazard(item.depths[name]).ravel() for name in item.causes}
    branches: list[Branch] = []
    keep = float(np.log1p(-STRAY_FAILURES))
    if _is_timed(item):
        branches.extend(
            Branch(name, keep, {name: hazard[name] / (1.0 + RUN_SPREAD * hazard[name] * hours)}) for name in item.causes
        )
        stray = STRAY_FAILURES / hours
    else:
        survived: dict[str, Floats] = {}
        for name in item.causes:
            held = log_survival(hazard[name], hours, RUN_SPREAD)
            branches.append(Branch(name, keep, {**survived, name: np.asarray(-np.expm1(held))}))
            survived[name] = np.exp(held)
        stray = STRAY_FAILURES
    if stray > 0:
        branches.append(Branch(STRAY, float(np.log(stray)), {}))
    return SharedFailure(item.run.id, tuple(branches))


def _fit(failures: Sequence[SharedFailure], base: Mapping[str, Floats]) -> tuple[tuple[SharedFailure, ...], float]:
    """Strike out the least likely causes until the mixture is small enough; the probability struck out, about.

    The likelihood of a cause is judged one failure after the other, each knob's weights brought up to date with what
    the failures before it said on average.
    """
    if np.prod([len(failure.branches) for failure in failures], initial=1.0) <= MOST_TERMS:
        return tuple(failures), 0.0
    weights = dict(base)
    shares: list[Floats] = []
    for failure in failures:
        found = []
        for branch in failure.branches:
            size = branch.log_constant
            for name, factor in branch.factors.items():
                size += float(np.log(max(float(weights[name] @ factor), 1e-300)))
            found.append(size)
        share = np.exp(np.array(found) - max(found))
        share /= share.sum()
        shares.append(share)
        for name in {name for branch in failure.branches for name in branch.factors}:
            mixed = np.zeros_like(weights[name])
            for part, branch in zip(share, failure.branches, strict=True):
                moved = weights[name] * branch.factors.get(name, np.ones(1))
                mixed += part * moved / max(float(moved.sum()), 1e-300)
            weights[name] = mixed
    order = sorted((float(part), at, which) for at, share in enumerate(shares) for which, part in enumerate(share))
    alive = [list(range(len(failure.branches))) for failure in failures]
    struck_out = 0.0
    for part, at, which in order:
        if np.prod([len(left) for left in alive], initial=1.0) <= MOST_TERMS:
            break
        if len(alive[at]) > 1:
            alive[at].remove(which)
            struck_out += part
    kept = tuple(
        SharedFailure(failure.run_id, tuple(failure.branches[which] for which in left))
        for failure, left in zip(failures, alive, strict=True)
    )
    return kept, min(struck_out, 1.0)
