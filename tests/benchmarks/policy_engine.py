"""The posterior search played against very many virtual units at once, for the sweep over its constants.

The arithmetic of the product's planner, written a second time over arrays of units (CuPy where there is a graphics
card, else NumPy): what takes minutes one unit at a time takes a second. `tests/search/test_policy_engine.py` holds
that it proposes what the product proposes. Nothing of the product depends on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

try:
    import cupy
except ImportError:
    cupy = np

xp: Any = cupy

Array = Any
MOST_RUNS = 40
COLUMNS = 13


@dataclass(frozen=True)
class Constants:
    """Everything that a sweep may vary: prior, allowances, planner. Names as in the product."""

    # prior on ln(s / typical): three kinds of edge
    middle: float = 1.0
    spread: float = 0.25
    soft_multiple: float = 2.1
    soft_spread: float = 0.15
    soft_weight: float = 0.35
    least: float = 0.3
    most: float = 3.4
    stock_short: float = 0.1
    # allowances
    run_spread: float = 0.1
    stray: float = 0.001
    background: float = 0.10
    doubt: float = 0.9
    # planner
    crash_aversion: float = 28.0
    worth: float = 0.55
    within: float = 1.0
    unclaimed: float = 0.25
    most_gain: float = 6.0
    soft_prior: float = 2.0
    full_share: float = 1.0 / 3.0
    stride_minutes: float = 1.0
    careful_decades: float = 2.0
    careful_minutes: float = 4.0
    plan_doubt: float = 1.0
    """The quantile that the risk is of, as a multiple of the claim's."""
    pairs: int = 0
    """How many runs are judged two by two; 0: one run ahead only."""


@dataclass(frozen=True)
class Bench:
    """A knob and a goal, as numbers."""

    step: float = 5.0
    limit: float = 250.0
    typical: float = 5.0
    mttf_hours: float = 100.0
    confidence: float = 0.90
    within: float = 8.0
    stride: float = 20.0
    crash_minutes: float = 8.0
    setup_minutes: float = 3.0
    soft_minutes: float = 1.0
    soft_share: float = 0.2
    max_failures: int = 6


MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 22.0, 30.0, 45.0, 60.0, 90.0, 120.0)
DOUBTS = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.75, 2.0)
BEYOND_LIMIT, BELOW_STOCK = 0.25, 0.15
SHORTEST_HOURS = 10.0 / 3600.0


class Model:
    """The grid of one bench under one set of constants, with its tables."""

    def __init__(self, bench: Bench, c: Constants, minutes: tuple[float, ...] = MINUTES) -> None:
        self.bench, self.c = bench, c
        b = bench
        decades = math.log10(b.mttf_hours / (1.0 - c.background))
        low = -BELOW_STOCK * b.limit - max(decades, 0.0) * b.typical
        high = (1.0 + BEYOND_LIMIT) * b.limit + max(-decades, 0.0) * b.typical
        cell = max(min(b.typical / 4, b.step / 2.0), (high - low) / 480)
        goal = (np.arange(round(low / cell), round(high / cell)) + 0.5)[:, None] * cell
        log_s = np.linspace(math.log(c.least), math.log(c.most), COLUMNS)[None, :]
        s = b.typical * np.exp(log_s)
        edge = goal + decades * s
        inside = (edge >= 0) & (edge <= b.limit)
        prior = np.where(inside, 0.0, math.log(0.5)) + np.where(goal >= 0, 0.0, math.log(c.stock_short))
        prior = prior + log_kinds(log_s, c)
        self.cell, self.decades = cell, decades
        self.prior = xp.asarray(prior - np.log(np.exp(prior).sum()), dtype=np.float32)
        self.goal = xp.asarray(goal[:, 0], dtype=np.float32)
        steps = np.arange(0, math.floor(b.limit / b.step + 1e-9) + 1) * b.step
        self.steps = xp.asarray(steps, dtype=np.float32)
        hazard = 10.0 ** np.clip((steps[:, None, None] - goal) / s - decades, -12, 6) + c.background / b.mttf_hours
        self.hazard = xp.asarray(hazard, dtype=np.float32)  # (D, n, k)
        self.minutes = xp.asarray(minutes, dtype=np.float32)
        hours = np.concatenate(([0.0], np.asarray(minutes) / 60.0))
        self.d_hours = xp.asarray(np.diff(hours), dtype=np.float32)
        dose = hazard[None] * hours[:, None, None, None]
        survival = np.exp(-np.log1p(c.run_spread * dose) / c.run_spread)  # (T+1, D, n, k)
        table = np.ascontiguousarray(survival.transpose(2, 3, 0, 1).reshape(goal.size, COLUMNS, -1))
        self.table = xp.asarray(table, dtype=np.float32)  # (n, k, (T+1) D)
        self.doubt = (1.0 - b.confidence) * c.doubt
        plan = self.doubt * c.plan_doubt
        apart = np.minimum(goal - steps[None, :], c.most_gain * b.typical)
        self.loss = xp.asarray(np.where(apart > 0, apart, -apart * (1.0 / plan - 1.0)).T, dtype=np.float32)  # (R, n)

    def log_likelihood(self, at: Array, hours: Array, failed: Array, timed: Array) -> Array:
        """(B, n, k) of runs at step indices ``at``."""
        c = self.c
        h = self.hazard[at]
        timed = timed & (hours >= SHORTEST_HOURS)
        hours = xp.where(failed, xp.maximum(hours, SHORTEST_HOURS), hours)[:, None, None].astype(np.float32)
        one = xp.log1p(c.run_spread * h * hours)
        held = -one / c.run_spread
        at_time = xp.logaddexp(math.log1p(-c.stray) + xp.log(h) + held - one, math.log(c.stray) - xp.log(hours))
        before = xp.logaddexp(math.log1p(-c.stray) + xp.log(xp.maximum(-xp.expm1(held), 1e-30)), math.log(c.stray))
        return xp.where(failed[:, None, None], xp.where(timed[:, None, None], at_time, before), held)


def log_kinds(log_s: np.ndarray, c: Constants) -> np.ndarray:
    typical = np.exp(-0.5 * ((log_s - math.log(c.middle)) / c.spread) ** 2)
    soft = np.exp(-0.5 * ((log_s - math.log(c.soft_multiple)) / c.soft_spread) ** 2)
    mixed = (1.0 - c.soft_weight) * typical / typical.sum() + c.soft_weight * soft / soft.sum()
    return np.asarray(np.log(np.maximum(mixed, 1e-30)))


@dataclass
class State:
    """Where so many units stand: posterior and what the rules need."""

    log_weight: Array
    deepest: Array
    stock_held: Array
    unanswered: Array
    failures: Array
    soft: Array

    @staticmethod
    def start(model: Model, units: int) -> State:
        return State(
            xp.broadcast_to(model.prior, (units, *model.prior.shape)).copy(),
            xp.zeros(units, dtype=np.float32),
            xp.zeros(units, dtype=bool),
            xp.full(units, np.inf, dtype=np.float32),
            xp.zeros(units, dtype=np.int32),
            xp.zeros(units, dtype=np.int32),
        )

    def take(self, index: Array) -> State:
        return State(**{name: value[index] for name, value in vars(self).items()})

    def put(self, index: Array, other: State) -> None:
        for name, value in vars(self).items():
            value[index] = getattr(other, name)

    def learn(self, model: Model, at: Array, minutes: Array, failed: Array, timed: Array, soft: Array) -> None:
        depth = model.steps[at]
        self.log_weight += model.log_likelihood(at, minutes / 60.0, failed, timed)
        held = ~failed & (minutes >= 1.0 - 1e-9)
        self.deepest = xp.where(held, xp.maximum(self.deepest, depth), self.deepest)
        self.stock_held |= held & (at == 0)
        self.unanswered = xp.where(held & (depth < self.unanswered), np.inf, self.unanswered)
        self.unanswered = xp.where(failed, xp.minimum(self.unanswered, depth), self.unanswered)
        self.failures += failed
        self.soft += failed & soft


def claim_of(model: Model, state: State, flat: Array) -> tuple[Array, Array]:
    """Claimed step index (-1: none) and the middle of the goal depth."""
    total = xp.cumsum(flat, axis=1)
    bound = _interp(total, model.doubt, model)
    middle = _interp(total, 0.5, model)
    bound = xp.minimum(xp.minimum(bound, state.deepest), model.bench.limit)
    index = xp.floor(bound / model.bench.step + 1e-6).astype(np.int32)
    return xp.where((bound >= 0) & state.stock_held, index, -1), middle


def _interp(total: Array, share: float, model: Model) -> Array:
    """np.interp(share, total, goal + half a cell), row by row."""
    at = xp.minimum((total < share).sum(axis=1), total.shape[1] - 1)
    rows = xp.arange(total.shape[0])
    here = total[rows, at]
    before = xp.where(at > 0, total[rows, xp.maximum(at - 1, 0)], 0.0)
    inside = xp.where(at > 0, (share - before) / xp.maximum(here - before, 1e-30), 1.0)
    return model.goal[at] + model.cell * (0.5 - 1.0 + xp.clip(inside, 0.0, 1.0))


def propose(model: Model, state: State) -> tuple[Array, Array, Array, Array]:
    """Stop, step index, minutes, and the reason's number: 1 failures, 2 limit, 3 within, 4 worth, 5 climb, 6 look."""
    b, c = model.bench, model.c
    units = state.deepest.shape[0]
    weight = xp.exp(state.log_weight - state.log_weight.max(axis=(1, 2), keepdims=True))
    weight = weight / weight.sum(axis=(1, 2), keepdims=True)
    flat = weight.sum(axis=2)
    claim, middle = claim_of(model, state, flat)
    last = model.steps.shape[0] - 1
    claimed = xp.where(claim >= 0, model.steps[xp.maximum(claim, 0)], 0.0)
    middle = xp.minimum(middle, model.steps[last])
    stop = xp.zeros(units, dtype=bool)
    why = xp.zeros(units, dtype=np.int32)

    def halt(which: Array, number: int) -> None:
        nonlocal stop
        new = which & ~stop
        why[new] = number
        stop = stop | new

    ceiling = xp.where(xp.isfinite(state.unanswered), state.deepest, state.deepest + b.stride)
    ceiling = xp.minimum(xp.floor(xp.minimum(ceiling, b.limit) / b.step + 1e-6), last).astype(np.int32)
    halt(state.failures >= b.max_failures, 1)
    first = ~state.stock_held
    halt(~first & (claim >= last), 2)
    halt(~first & (claim >= 0) & (middle - claimed <= b.within * c.within), 3)
    # climb
    deep_index = xp.floor(state.deepest / b.step + 1e-6).astype(np.int32)
    climbing = ~first & (state.failures == 0) & (ceiling > deep_index) & ~stop
    full = state.deepest < c.full_share * b.limit - 1e-6
    stride = xp.where(full, b.stride, c.careful_decades * b.typical)
    climb_to = xp.floor((state.deepest + stride) / b.step + 1e-6).astype(np.int32)
    climb_to = xp.minimum(xp.maximum(climb_to, deep_index + 1), ceiling)
    climb_minutes = xp.where(full, c.stride_minutes, c.careful_minutes)
    at = xp.where(first, 0, climb_to)
    minutes = xp.where(first, 2.0, climb_minutes).astype(np.float32)
    why[climbing] = 5
    look = ~first & ~climbing & ~stop
    if bool(look.any()):
        index = xp.nonzero(look)[0]
        for some in _chunks(index, 400 if c.pairs else 1500):
            found = _look(model, state.take(some), weight[some], flat[some], ceiling[some], claim[some])
            enough, at[some], minutes[some] = found
            why[some] = xp.where(enough, 6, 4)
            stop[some] = ~enough
    return stop, at, minutes, why


def _chunks(index: Array, size: int) -> list[Array]:
    return [index[start : start + size] for start in range(0, index.shape[0], size)]


def _look(
    model: Model, state: State, weight: Array, flat: Array, ceiling: Array, claim: Array
) -> tuple[Array, Array, Array]:
    b, c = model.bench, model.c
    units = state.deepest.shape[0]
    lengths, depths, n = model.minutes.shape[0], model.steps.shape[0], flat.shape[1]
    ever = xp.matmul(xp.ascontiguousarray(weight.transpose(1, 0, 2)), model.table)  # (n, B, (T+1) D)
    ever = ever.reshape(n, units, lengths + 1, depths)
    alive_at = ever.sum(axis=0)  # (B, T+1, D)
    held = ever[:, :, 1:]
    failed = ever[:, :, :-1] - held
    failed = failed + c.stray * failed.sum(axis=0, keepdims=True) * flat.T[:, :, None, None]
    deepest = xp.floor(state.deepest / b.step + 1e-6).astype(np.int32)
    claims = xp.arange(depths)
    # what may be claimed after: no deeper than held
    beyond_now = claims[:, None] > deepest[None, :]  # (R, B)
    loss_held = xp.tensordot(model.loss, held, axes=(1, 0))  # (R, B, T, D)
    reach = xp.maximum(deepest[:, None], xp.arange(depths)[None, :])  # (B, D)
    loss_held = xp.where((claims[:, None, None] > reach[None])[:, :, None, :], np.inf, loss_held).min(axis=0)
    loss_failed = xp.tensordot(model.loss, failed, axes=(1, 0))
    loss_failed = xp.where(beyond_now[:, :, None, None], np.inf, loss_failed).min(axis=0)
    now = xp.where(beyond_now, np.inf, xp.tensordot(model.loss, flat.T, axes=(1, 0))).min(axis=0)  # (B,)
    mass_failed = failed.sum(axis=0)
    gain_held = alive_at[:, 1:] * now[:, None, None] - loss_held
    gain_failed = xp.cumsum(mass_failed * now[:, None, None] - loss_failed, axis=1)
    worth = gain_held + gain_failed  # (B, T, D)
    chance = xp.clip(1.0 - alive_at[:, 1:], 0.0, 1.0)
    area = xp.cumsum(0.5 * (alive_at[:, :-1] + alive_at[:, 1:]) * model.d_hours[None, :, None] * 60.0, axis=1)
    share = ((state.soft + c.soft_prior * b.soft_share) / (state.failures + c.soft_prior)).astype(np.float32)
    share = share[:, None, None]
    crash = chance * (1.0 - share) * b.crash_minutes
    price = b.setup_minutes + area + chance * share * b.soft_minutes + crash
    weighed = price + (c.crash_aversion - 1.0) * crash
    shallow = _interp(xp.cumsum(flat, axis=1), 0.02, model)
    shallow = xp.minimum(shallow, model.steps[ceiling])
    allowed = (claims[None, :] <= ceiling[:, None]) & (model.steps[None, :] >= shallow[:, None] - 1e-6)
    rate = xp.where(allowed[:, None, :], worth / weighed, -np.inf)
    depth = rate.max(axis=1).argmax(axis=1)
    rows = xp.arange(units)
    threshold = c.worth * b.typical
    there = worth[rows, :, depth] - threshold / 60.0 * weighed[rows, :, depth]
    length = there.argmax(axis=1)
    gain = worth[rows, length, depth] / weighed[rows, length, depth] * 60.0
    least = xp.where(claim >= 1, threshold, threshold * c.unclaimed)
    minutes = model.minutes[length]
    if c.pairs:
        # For each depth the length that pays; the best of those, two by two.
        pays = (worth - threshold / 60.0 * weighed).argmax(axis=1)  # (B, D)
        at_rows, at_depths = rows[:, None], xp.arange(depths)[None, :]
        own = xp.where(allowed, worth[at_rows, pays, at_depths] / weighed[at_rows, pays, at_depths], -np.inf)
        few = min(c.pairs, depths)
        best = xp.argsort(-own, axis=1)[:, :few]  # (B, K)
        chosen = pays[at_rows, best]
        valid = xp.isfinite(own[at_rows, best])
        cost_one = weighed[at_rows, chosen, best]
        worth_two = _pairs(model, weight, flat, best, chosen, now, deepest)
        rate_two = worth_two / (cost_one[:, :, None] + cost_one[:, None, :])
        rate_two = xp.where(valid[:, :, None] & valid[:, None, :], rate_two, -np.inf)
        top = rate_two.reshape(units, -1).argmax(axis=1)
        i, j = top // few, top % few
        gain_two = rate_two.reshape(units, -1)[rows, top] * 60.0
        better = gain_two > gain
        # Of the two the one that is worth more for its price comes first.
        first = xp.where(own[rows, best[rows, i]] >= own[rows, best[rows, j]], i, j)
        depth = xp.where(better, best[rows, first], depth)
        minutes = xp.where(better, model.minutes[chosen[rows, first]], minutes)
        gain = xp.maximum(gain, gain_two)
    return gain >= least, depth, minutes


def _pairs(model: Model, weight: Array, flat: Array, best: Array, chosen: Array, now: Array, deepest: Array) -> Array:
    """Expected fall of the risk by two runs, both made whatever the first shows: (B, K, K)."""
    units, few = best.shape
    n = flat.shape[1]
    lengths, depths = model.minutes.shape[0], model.steps.shape[0]
    table = model.table.reshape(n, COLUMNS, lengths + 1, depths)
    # A run's endings: held; failed in the first eighth of its lengths' list up to it, or later.
    early = xp.maximum(chosen - 2, 0)
    full = table[:, :, chosen + 1, best]  # (n, k, B, K)
    part = table[:, :, early, best]
    ends = xp.stack((full, part - full, 1.0 - part), axis=-1)  # (n, k, B, K, 3)
    ends = ends.transpose(2, 0, 3, 4, 1).reshape(units, n, few * 3, COLUMNS)
    joint = xp.matmul(ends * weight[:, :, None, :], ends.transpose(0, 1, 3, 2))  # (B, n, K3, K3)
    joint = joint.reshape(units, n, -1)
    mass = joint.sum(axis=1)  # (B, K3*K3)
    loss = xp.matmul(model.loss[None], joint).reshape(units, depths, few, 3, few, 3)
    claims = xp.arange(depths)
    held = xp.asarray(np.array([True, False, False]))
    reach = xp.where(held[None, None, :], xp.maximum(best[:, :, None], deepest[:, None, None]), deepest[:, None, None])
    both = xp.maximum(reach[:, :, :, None, None], reach[:, None, None, :, :])  # (B, K, 3, K, 3)
    loss = xp.where(claims[None, :, None, None, None, None] > both[:, None], np.inf, loss).min(axis=1)
    worth = mass.reshape(units, few, 3, few, 3) * now[:, None, None, None, None] - loss
    return worth.sum(axis=(2, 4))


# ---------------------------------------------------------------------------------------------------- virtual units


@dataclass
class Units:
    """Truth of many units: arrays of the fields of `VirtualUnit`, and the luck of their runs."""

    fields: dict[str, Array]
    luck: dict[str, Array]
    best: Array

    def __len__(self) -> int:
        return int(self.best.shape[0])

    def take(self, index: Array) -> Units:
        return Units(
            {k: v[index] for k, v in self.fields.items()}, {k: v[index] for k, v in self.luck.items()}, self.best[index]
        )


def units_of(drawn: list[Any], bench: Bench, seed: int) -> Units:
    """``drawn``: `VirtualUnit`s."""
    names = ("edge", "per_decade", "background", "shape", "warm_drop", "swing", "swing_phase", "mislogged", "late",
             "soft_share", "jitter", "harsh_drop", "most_per_hour")  # fmt: skip
    fields = {name: xp.asarray(np.array([float(getattr(u, name)) for u in drawn])) for name in names}
    rng = np.random.default_rng([seed, 77])
    shape = (len(drawn), MOST_RUNS)
    luck = {
        "target": rng.exponential(size=shape),
        "stray": rng.exponential(size=shape),
        "jitter": rng.normal(size=shape),
        "phase": rng.uniform(size=shape),
        "soft": rng.uniform(size=shape),
        "mislogged": rng.uniform(size=shape),
    }
    best = np.array([u.best_depth(bench.mttf_hours, bench.limit) for u in drawn])
    return Units(fields, {k: xp.asarray(v) for k, v in luck.items()}, xp.asarray(best))


_HALF = 0.5


def run_units(
    units: Units, depth: Array, minutes: Array, session: Array, turn: int
) -> tuple[Array, Array, Array, Array, Array, Array, Array]:
    """Make a run of each: told failed, minutes told, timed, soft told, minutes lasted, crash, failed in truth."""
    f = units.fields
    luck = {name: value[:, turn] for name, value in units.luck.items()}
    depth = depth.astype(np.float64) + f["jitter"] * luck["jitter"]
    rate = xp.minimum(10.0 ** xp.minimum((depth - f["edge"]) / f["per_decade"], 12.0), f["most_per_hour"])
    target = luck["target"]
    gamma = xp.asarray([math.gamma(1.0 + 1.0 / float(s)) for s in f["shape"].tolist()])
    found = target ** (1.0 / f["shape"]) / (rate * gamma)
    moving = (f["warm_drop"] != 0) | (f["swing"] != 0) | (f["harsh_drop"] != 0)
    if bool(moving.any()):
        i = xp.nonzero(moving)[0]
        steps = 240
        into = (xp.arange(steps) + 0.5) * _HALF
        clock = session[i][:, None] + into[None, :]
        shift = f["warm_drop"][i][:, None] * (1.0 - xp.exp(-clock / 15.0))
        shift += f["swing"][i][:, None] * xp.sin(2 * np.pi * clock / 50.0 + f["swing_phase"][i][:, None])
        harsh = ((into[None, :] + 10.0 * luck["phase"][i][:, None]) % 10.0) >= 9.0
        shift = shift + xp.where(harsh, f["harsh_drop"][i][:, None], 0.0)
        r = 10.0 ** xp.minimum((depth[i][:, None] + shift - f["edge"][i][:, None]) / f["per_decade"][i][:, None], 12.0)
        total = xp.cumsum(r, axis=1) * _HALF / 60.0
        at = (total < target[i][:, None]).sum(axis=1)
        rows = xp.arange(i.shape[0])
        safe = xp.minimum(at, steps - 1)
        before = xp.where(safe > 0, total[rows, xp.maximum(safe - 1, 0)], 0.0)
        inside = (target[i] - before) / xp.maximum(total[rows, safe] - before, 1e-300)
        found[i] = xp.where(at >= steps, np.inf, (safe + inside) * _HALF / 60.0)
    stray = xp.where(f["background"] > 0, luck["stray"] / xp.maximum(f["background"], 1e-12), np.inf)
    found = xp.minimum(found, stray)
    failed = found * 60.0 < minutes
    soft = failed & (luck["soft"] < f["soft_share"])
    wrong = luck["mislogged"] < f["mislogged"]
    told = failed ^ wrong
    late = f["late"] > 0
    lasted = xp.where(~failed | late, minutes, found * 60.0)
    seen = xp.where(told, lasted, minutes)
    return told, seen, ~late, soft & told, lasted, failed & ~soft, failed


def play(model: Model, units: Units) -> dict[str, np.ndarray]:
    """Play all units to their stops; a column a unit."""
    b = model.bench
    count = len(units)
    state = State.start(model, count)
    spent = xp.zeros(count)
    crashes = xp.zeros(count, dtype=np.int32)
    softs = xp.zeros(count, dtype=np.int32)
    runs = xp.zeros(count, dtype=np.int32)
    faulty = xp.zeros(count, dtype=bool)
    reasons = xp.zeros(count, dtype=np.int32)
    active = xp.arange(count)
    for turn in range(MOST_RUNS):
        mine = state.take(active)
        stop, at, minutes, why = propose(model, mine)
        reasons[active] = why
        going = ~stop
        active, at, minutes = active[going], at[going], minutes[going].astype(np.float64)
        if active.shape[0] == 0:
            break
        mine = mine.take(xp.nonzero(going)[0])
        here = units.take(active)
        told, seen, timed, soft, lasted, crash, failed = run_units(
            here, model.steps[at], minutes, spent[active] + b.setup_minutes, turn
        )
        spent[active] += b.setup_minutes + lasted + xp.where(crash, b.crash_minutes, 0.0)
        spent[active] += xp.where(failed & ~crash, b.soft_minutes, 0.0)
        crashes[active] += crash
        softs[active] += failed & ~crash
        runs[active] += 1
        mine.learn(model, at, seen, told, timed, soft)
        state.put(active, mine)
        dead = told & (at == 0)
        faulty[active[dead]] = True
        active = active[~dead]
    weight = xp.exp(state.log_weight - state.log_weight.max(axis=(1, 2), keepdims=True))
    flat = weight.sum(axis=2)
    flat = flat / flat.sum(axis=1, keepdims=True)
    claim, _ = claim_of(model, state, flat)
    claim = xp.where(faulty, -1, claim)
    depth = xp.where(claim >= 0, claim * b.step, -1.0)
    total = xp.cumsum(flat, axis=1)
    strict = [_back(xp.where(faulty, -1.0, _claim_at(model, state, total, (1 - b.confidence) * d))) for d in DOUBTS]
    columns = {"hours": spent / 60.0, "crashes": crashes, "soft": softs, "runs": runs, "depth": depth,
               "best": units.best, "why": reasons}  # fmt: skip
    found = {name: _back(value) for name, value in columns.items()}
    found["depth_at"] = np.array(strict).T
    return found


def _claim_at(model: Model, state: State, total: Array, doubt: float) -> Array:
    bound = xp.minimum(xp.minimum(_interp(total, doubt, model), state.deepest), model.bench.limit)
    depth = xp.floor(bound / model.bench.step + 1e-6) * model.bench.step
    return xp.where((bound >= 0) & state.stock_held, depth, -1.0)


def _back(value: Array) -> np.ndarray:
    return np.asarray(value.get() if hasattr(value, "get") else value)


def sum_up(played: dict[str, np.ndarray], step: float) -> dict[str, float]:
    """hours, crashes, honest, give-away, room."""
    depth, best = played["depth"], played["best"]
    told = depth >= 0
    honest = told & (depth <= best + 1e-9)
    room = best >= step
    return {
        "hours": float(played["hours"].mean()),
        "crashes": float(played["crashes"].mean()),
        "runs": float(played["runs"].mean()),
        "honest": float(honest.sum() / max(told.sum(), 1)),
        "give": float((best - depth)[honest].mean()) if honest.any() else math.nan,
        "room": float((depth >= step)[room].mean()) if room.any() else math.nan,
        "told": float(told.mean()),
    }


def varied(constants: Constants, **changes: float) -> Constants:
    # The fields that are whole numbers are not among those that a sweep varies.
    return replace(constants, **changes)  # type: ignore[arg-type]
