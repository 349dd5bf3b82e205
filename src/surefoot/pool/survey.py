"""What a pool knows and whether it is fit: each group's fit and every finding, as `surefoot pool show` tells it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from surefoot.pool.checks import Finding, check_group, names_alike
from surefoot.pool.engine import check_pool, engine, quoted
from surefoot.pool.groups import Kind, kinds_in, nested
from surefoot.pool.lending import fit_nested, wide_on
from surefoot.pool.likelihood import fit_grid
from surefoot.units import Knob

MOST_GROUPS = 20
"""Groups that are fitted when a pool is shown, the largest first."""


@dataclass(frozen=True, slots=True)
class Group:
    """One kind of knob: how many units and runs; the fit: middle and spread of edges and of depth per decade, in
    ``kind.measure``, with how sure the middle is; ``weight`` of the pool against the wide prior; ``mislogged``: share
    of outcomes that look written down the wrong way round. None where it was not fitted."""

    kind: Kind
    units: int
    runs: int
    edge: float | None = None
    edge_sure: float | None = None
    edge_spread: float | None = None
    per_decade: float | None = None
    weight: float | None = None
    mislogged: float | None = None


@dataclass(frozen=True, slots=True)
class Survey:
    """All groups, and what the checks found."""

    groups: tuple[Group, ...]
    findings: tuple[Finding, ...]


def survey(path: Path) -> Survey:
    """Read a pool, fit its largest groups and check them. Raises BadInput when the file is no pool."""
    from math import exp

    groups = []
    findings: list[Finding] = []
    for at, (kind, units, runs) in enumerate(kinds_in(path)):
        if at >= MOST_GROUPS:
            groups.append(Group(kind, units, runs))
            continue
        knob = knob_of(path, kind)
        around = nested(path, kind, "", knob)
        fitted = fit_nested(knob, around)
        if fitted is None:
            groups.append(Group(kind, units, runs))
            continue
        found = fitted.population
        groups.append(
            Group(
                kind, units, runs, found.mean("edge_middle"), found.deviation("edge_middle"), found.mean("edge_spread"),
                exp(found.mean("slope_middle")), fitted.prior.weight, fitted.mislogged,
            )
        )  # fmt: skip
        own = around.levels[-1][1]
        findings += check_group(knob, own, fitted.likelihoods[-len(own) :], wide_on(fit_grid(knob), knob))
        if fitted.mislogged >= 0.03:
            findings.append(
                Finding("mislogged", f"{kind.platform}, {knob.name}: about {fitted.mislogged:.0%} of the outcomes look "
                        "written down the wrong way round; the fit allows for it.")
            )  # fmt: skip
    return Survey(tuple(groups), (*findings, *names_alike(_months(path))))


def knob_of(path: Path, kind: Kind) -> Knob:
    """A knob of a kind as the pool's cards have it: the finest step and the widest limit of them."""
    with engine() as connection:
        row = connection.execute(
            f"SELECT min(step), max(most) FROM read_parquet({quoted(path)}) "
            "WHERE platform = ? AND knob = ? AND measure = ?",
            [kind.platform, kind.knob, kind.measure],
        ).fetchone()
    assert row is not None
    toward: Literal["down", "up"] = "down" if kind.toward == "down" else "up"
    return Knob(kind.knob, kind.domain, kind.measure, toward, float(row[0]), float(row[1]))


def _months(path: Path) -> dict[str, set[str]]:
    with engine() as connection:
        check_pool(connection, path)
        rows = connection.execute(f"SELECT DISTINCT platform, month FROM read_parquet({quoted(path)})").fetchall()
    found: dict[str, set[str]] = {}
    for platform, month in rows:
        found.setdefault(str(platform), set()).add(str(month))
    return found
