"""Slips of the hand thrown at the door through which told runs come, against virtual units whose true edge is known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from surefoot.guide.outside import rows_told
from surefoot.guide.slips import slips
from surefoot.logs.hand_table import read_hand_table
from surefoot.logs.tables import Table
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Run
from surefoot.search import Goal, known_stable
from surefoot.units import Knob, Unit

UNIT = Unit(name="bench", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),))
HEAD = ("date", "core mV", "minutes", "result")
NOW = datetime(2031, 5, 6, tzinfo=UTC)
SLIPS = ("sign", "factor ten", "swapped", "doubled", "late", "contradictory", "minutes times ten", "negated")


def history(rng: np.random.Generator) -> tuple[VirtualUnit, list[list[str]]]:
    """A unit, and a table of the steps down it, 30 minutes each, to the second failure; then holds further up."""
    unit = VirtualUnit(edge=float(rng.uniform(40, 130)), per_decade=float(rng.uniform(2, 8)))
    rows: list[list[str]] = []
    moment, failures, depth = NOW - timedelta(days=60), 0, 0.0
    while failures < 2 and depth <= 250:
        rate = unit.hazard(depth)
        minutes = float(rng.exponential(1 / rate)) * 60 if rate > 0 else np.inf
        failed = minutes < 30
        said = str(rng.choice(["crash", "did not pass", "failed"] if failed else ["ok", "pass", "stable"]))
        rows.append([f"{moment:%Y-%m-%d %H:%M}", f"{-depth:g}", f"{min(minutes, 30):.1f}", said])
        moment += timedelta(hours=5)
        failures += failed
        depth = max(0.0, depth - 10) if failed else depth + 10
    return unit, rows


def slipped(rows: list[list[str]], slip: str, rng: np.random.Generator) -> list[list[str]]:
    rows = [list(row) for row in rows]
    at = int(rng.integers(len(rows)))
    row = rows[at]
    if slip == "sign":
        row[1] = row[1].lstrip("-") if row[1].startswith("-") else f"+{row[1]}"
    elif slip == "factor ten":
        row[1] = f"{float(row[1]) * float(rng.choice([10, 0.1])):g}"
    elif slip == "swapped":
        row[1], row[2] = row[2], row[1]
    elif slip == "doubled":
        rows += [list(row) for _ in range(5)]
    elif slip == "late":
        rows = rows[:at] + rows[at + 1 :] + [[f"{NOW + timedelta(days=40):%Y-%m-%d}", *row[1:]]]
    elif slip == "contradictory":
        rows.append([f"{NOW - timedelta(days=2):%Y-%m-%d}", f"{float(row[1]) - 30:g}", "30", "pass"])
    elif slip == "minutes times ten":
        row[2] = f"{float(row[2]) * 10:g}"
    else:
        row[3] = {"ok": "not ok", "pass": "no pass", "stable": "not stable"}.get(row[3], f"no {row[3]}")
    return rows


def claimed(rows: list[list[str]]) -> float:
    """The depth that recall claims of a table of which every row that is not sure was left out."""
    lines = tuple(range(2, len(rows) + 2))
    found = read_hand_table(Table(HEAD, tuple(map(tuple, rows)), (), lines, ".", ",", "utf-8"), UNIT)
    told, _ = rows_told(UNIT, found.rows, lambda at: None)
    sure = [one for one, said in zip(told, slips(UNIT, told, [], NOW), strict=True) if not said]
    runs = [
        Run(id=number, opened_at=one.at or NOW, plan=one.plan, closed_at=one.at or NOW, closing=one.closing)
        for number, one in enumerate(sorted(sure, key=lambda one: one.at or NOW), start=1)
    ]
    known = known_stable(UNIT, runs, Goal())
    return 0.0 if known is None else -known.setting.value("cpu-core")


def too_deep(histories: int, seed: int) -> list[tuple[str, float, float]]:
    rng = np.random.default_rng(seed)
    found = []
    for number in range(histories):
        unit, rows = history(rng)
        slip = SLIPS[number % len(SLIPS)]
        depth = claimed(slipped(rows, slip, rng))
        if depth > unit.edge:
            found.append((slip, depth, unit.edge))
    return found


def test_no_slip_makes_a_claim_deeper_than_the_true_edge() -> None:
    assert too_deep(2 * len(SLIPS), seed=7) == []


@pytest.mark.long
def test_in_a_thousand_histories_one_at_most() -> None:
    assert len(too_deep(1000, seed=8)) <= 1
