"""The posterior search played against very many virtual units, for the sweep over its constants.

The product's planner a second time, in C (`policy_player.c`, compiled on first use; needs `cc`): a hundred times the
units a second. `tests/search/test_policy_engine.py` holds that it proposes what the product proposes. Nothing of the
product depends on it.
"""

from __future__ import annotations

import ctypes
import hashlib
import math
import os
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.special import chdtri

from surefoot.search import api, effort, outlook, own_evidence, planner, prior, two_ahead

Array = Any
TURNS = 64
COLUMNS = prior.DECADE_CELLS
SOURCE = Path(__file__).parent / "policy_player.c"
FIELDS = ("edge", "per_decade", "background", "shape", "warm_drop", "swing", "swing_phase", "mislogged", "late",
          "soft_share", "jitter", "harsh_drop", "most_per_hour")  # fmt: skip
DOUBTS = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0, 2.2, 2.4, 2.7, 3.0)


@dataclass(frozen=True)
class Constants:
    """Everything that a sweep may vary: prior, allowances, planner. Names as in the product."""

    middle: float = prior.TYPICAL_MIDDLE
    spread: float = prior.TYPICAL_SPREAD
    soft_multiple: float = prior.SOFT_MULTIPLE
    soft_spread: float = prior.SOFT_SPREAD
    soft_weight: float = prior.SOFT_WEIGHT
    stock_short: float = prior.STOCK_SHORT_OF_GOAL
    background: float = prior.BACKGROUND_SHARE
    run_spread: float = prior.RUN_SPREAD
    stray: float = prior.STRAY_FAILURES
    doubt: float = prior.DOUBT
    plan_doubt: float = effort.EFFORTS["usual"].plan_doubt
    most_gain: float = outlook.MOST_GAIN_DECADES
    crash_aversion: float = effort.EFFORTS["usual"].crash_aversion
    worth: float = effort.EFFORTS["usual"].worth_decades_per_hour
    unclaimed: float = planner.WITHOUT_CLAIM
    soft_prior: float = planner.SOFT_PRIOR_WEIGHT
    full_share: float = effort.EFFORTS["usual"].full_stride_share
    stride_minutes: float = planner.STRIDE_MINUTES
    careful_decades: float = effort.EFFORTS["usual"].careful_decades
    careful_minutes: float = effort.EFFORTS["usual"].careful_minutes
    stock_minutes: float = planner.STOCK_MINUTES
    apart: float = own_evidence.APART_DECADES
    agree: float = own_evidence.AGREE_DECADES
    leap: float = own_evidence.LEAP_DECADES
    sensible_minutes: float = own_evidence.SENSIBLE_MINUTES
    sensible_runs: float = own_evidence.SENSIBLE_RUNS
    owed_minutes: float = api.OWED_MINUTES
    most_hours: float = 1e9
    steep_weight: float = prior.STEEP_WEIGHT
    steep_multiple: float = prior.STEEP_MULTIPLE
    steep_spread: float = prior.STEEP_SPREAD
    within: float = 1.0
    few: float = two_ahead.FEW
    """Two ahead: depths considered for the first run; 0: one run ahead only."""


def shipped(name: str) -> Constants:
    """The constants that the product has for an effort."""
    one = effort.EFFORTS[name]
    return Constants(
        crash_aversion=one.crash_aversion,
        worth=one.worth_decades_per_hour,
        plan_doubt=one.plan_doubt,
        full_share=one.full_stride_share,
        careful_decades=one.careful_decades,
        careful_minutes=one.careful_minutes,
        within=one.within_share,
    )


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


@lru_cache(maxsize=1)
def player() -> ctypes.CDLL:
    """The compiled player."""
    made = Path(tempfile.gettempdir()) / f"policy-player-{hashlib.sha256(SOURCE.read_bytes()).hexdigest()[:16]}.so"
    if not made.exists():
        fresh, middle = made.with_suffix(f".{os.getpid()}.so"), made.with_suffix(f".{os.getpid()}.o")
        flags = ["-O3", "-march=native", "-ffast-math", "-fPIC"]
        subprocess.run(["cc", *flags, "-c", "-o", str(middle), str(SOURCE)], check=True)
        # Linked apart: with -ffast-math at the link, loading it would round tiny numbers to nought in all of Python.
        subprocess.run(["cc", "-shared", "-o", str(fresh), str(middle), "-lmvec", "-lm"], check=True)
        middle.unlink()
        fresh.replace(made)
    return ctypes.CDLL(str(made))


@lru_cache(maxsize=24)
def _tables(bench: Bench, run_spread: float, least: float, most: float, background: float) -> dict[str, Array]:
    """What does not depend on the prior's weights: goal depths, s, hazards, survival."""
    b = bench
    decades = math.log10(b.mttf_hours / (1.0 - background))
    low = -prior.BELOW_STOCK * b.limit - max(decades, 0.0) * b.typical
    high = (1.0 + prior.BEYOND_LIMIT) * b.limit + max(-decades, 0.0) * b.typical
    cell = max(min(b.typical / prior.EDGE_CELLS_PER_DECADE, b.step / 2.0), (high - low) / prior.MOST_EDGE_CELLS)
    goal = (np.arange(round(low / cell), round(high / cell)) + 0.5)[:, None] * cell
    log_s = np.linspace(math.log(least), math.log(most), COLUMNS)[None, :]
    s = b.typical * np.exp(log_s)
    steps = np.arange(0, math.floor(b.limit / b.step + 1e-9) + 1) * b.step
    exponent = (steps[:, None, None] - goal) / s - decades
    hazard = (10.0 ** np.clip(exponent, -12, 6) + background / b.mttf_hours).astype(np.float32)
    hours = np.concatenate(([0.0], np.asarray(outlook.MINUTES) / 60.0)).astype(np.float32)
    survival = np.exp(-np.log1p(run_spread * hazard[..., None] * hours) / run_spread)
    return {
        "cell": cell, "decades": decades, "goal": goal, "log_s": log_s, "s": s, "steps": steps,
        "hazard": np.ascontiguousarray(hazard), "survival": np.ascontiguousarray(survival, dtype=np.float32),
    }  # fmt: skip


def _pointer(array: Array) -> Any:
    return array.ctypes.data_as(ctypes.c_void_p)


class Model:
    """The grid of one bench under one set of constants, with its tables."""

    def __init__(self, bench: Bench, c: Constants) -> None:
        self.bench, self.c = bench, c
        b = bench
        t = _tables(replace(bench, soft_share=0.0, confidence=0.9), c.run_spread, *prior.PER_DECADE_RANGE, c.background)
        goal = t["goal"]
        edge = goal + t["decades"] * t["s"]
        inside = (edge >= 0) & (edge <= b.limit)
        log_prior = np.where(inside, 0.0, math.log(0.5)) + np.where(goal >= 0, 0.0, math.log(c.stock_short))
        log_prior = log_prior + log_kinds(t["log_s"], c)
        weight = np.exp(log_prior)
        self.prior = np.ascontiguousarray(weight / weight.sum(), dtype=np.float32)
        self.goal = np.ascontiguousarray(goal[:, 0], dtype=np.float32)
        self.hazard, self.survival = t["hazard"], t["survival"]
        self.minutes = np.asarray(outlook.MINUTES, dtype=np.float32)
        self.chi = np.array([chdtri(2 * f + 2, 1.0 - b.confidence) for f in range(21)])
        self.setup = np.array([
            b.step, b.limit, b.typical, b.mttf_hours, b.confidence, b.within * c.within, b.stride, b.crash_minutes,
            b.setup_minutes, b.soft_minutes, b.soft_share, b.max_failures, c.run_spread, c.stray,
            c.doubt / max(1.0, math.log10(b.mttf_hours) / prior.DOUBT_DECADES), c.plan_doubt, c.most_gain,
            c.crash_aversion, c.worth, c.unclaimed, c.soft_prior, c.full_share, c.stride_minutes, c.careful_decades,
            c.careful_minutes, c.stock_minutes, c.apart, c.agree, c.leap, c.sensible_minutes, c.sensible_runs,
            c.owed_minutes, c.most_hours, c.few, two_ahead.SHORTER,
            two_ahead.LATE, two_ahead.RARE, two_ahead.DEPTHS_AFTER, t["cell"], goal.size, COLUMNS, t["steps"].size,
            outlook.MOST_DEPTHS, outlook.MOST_CLAIMS,
        ], dtype=np.float64)  # fmt: skip

    @property
    def _given(self) -> list[Any]:
        names = ("setup", "goal", "prior", "hazard", "survival", "minutes", "chi")
        return [_pointer(getattr(self, name)) for name in names]

    def propose(self, runs: Sequence[tuple[float, float, bool, bool, bool]]) -> tuple[bool, float, float, float]:
        """Stop, depth, minutes and the claim (-1: none) on runs of depth, minutes, failed, timed, soft."""
        given = np.ascontiguousarray(np.array(runs, dtype=np.float64).reshape(len(runs), 5))
        out = np.zeros(4)
        player().propose_once(*self._given, ctypes.c_int(len(runs)), _pointer(given), _pointer(out))
        return bool(out[0]), float(out[1]), float(out[2]), float(out[3])

    def play(self, units: Units) -> dict[str, np.ndarray]:
        """Play all units to their stops; a column a unit."""
        shares = np.asarray(DOUBTS) * (self.setup[14] / self.c.doubt)
        count = len(units)
        out = np.zeros((count, 10 + shares.size))
        player().play(
            *self._given, ctypes.c_int(count), _pointer(units.fields), ctypes.c_int(TURNS), _pointer(units.luck),
            ctypes.c_int(shares.size), _pointer(shares), _pointer(out),
        )  # fmt: skip
        names = ("hours", "crashes", "soft", "runs", "why", "depth", "bound", "strict", "median", "ceiling")
        found = {name: out[:, at] for at, name in enumerate(names)}
        return {**found, "best": units.best, "stock_short": units.stock_short, "depth_at": out[:, 10:]}


def log_kinds(log_s: np.ndarray, c: Constants) -> np.ndarray:
    typical = np.exp(-0.5 * ((log_s - math.log(c.middle)) / c.spread) ** 2)
    soft = np.exp(-0.5 * ((log_s - math.log(c.soft_multiple)) / c.soft_spread) ** 2)
    mixed = (1.0 - c.soft_weight) * typical / typical.sum() + c.soft_weight * soft / soft.sum()
    if c.steep_weight:
        steep = np.exp(-0.5 * ((log_s - math.log(c.steep_multiple)) / c.steep_spread) ** 2)
        mixed = (1 - c.steep_weight) * mixed + c.steep_weight * steep / steep.sum()
    return np.asarray(np.log(np.maximum(mixed, 1e-30)))


@dataclass
class Units:
    """Truth of many units and the luck of their runs.

    ``fields``: (units, FIELDS); ``luck``: (units, TURNS, 6); ``best``: deepest depth that meets the goal, 0 at least;
    ``stock_short``: whether stock itself does not meet it.
    """

    fields: Array
    luck: Array
    best: Array
    stock_short: Array

    def __len__(self) -> int:
        return int(self.best.shape[0])


def units_of(drawn: list[Any], bench: Bench, seed: int) -> Units:
    """``drawn``: `VirtualUnit`s."""
    fields = np.array([[min(float(getattr(unit, name)), 1e30) for name in FIELDS] for unit in drawn])
    best = np.array([unit.best_depth(bench.mttf_hours, bench.limit) for unit in drawn])
    short = np.array([unit.mttf_hours(0.0) < bench.mttf_hours for unit in drawn])
    return Units(fields, luck_of(len(drawn), seed), best, short)


def luck_of(count: int, seed: int) -> Array:
    rng = np.random.default_rng([seed, 77])
    shape = (count, TURNS)
    target, stray, jitter = rng.exponential(size=shape), rng.exponential(size=shape), rng.normal(size=shape)
    rest = [rng.uniform(size=shape) for _ in range(3)]
    return np.ascontiguousarray(np.stack([target, stray, jitter, *rest], axis=-1))


def sum_up(played: dict[str, np.ndarray], step: float) -> dict[str, float]:
    """hours, crashes, honest, give-away, room."""
    depth, best = played["depth"], played["best"]
    told = depth >= 0
    honest = told & (depth <= best + 1e-9) & ~played["stock_short"].astype(bool)
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
    return replace(constants, **changes)
