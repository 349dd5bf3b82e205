"""The virtual units that the sweep plays: drawn once from the rehearsal's populations and others, as plain arrays.

python tests/benchmarks/policy_units.py UNITS SEED FILE.npz
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from surefoot.rehearsal.measures import rehearse
from surefoot.rehearsal.populations import POPULATIONS
from surefoot.rehearsal.virtual import VirtualUnit

Draw = Callable[[np.random.Generator], VirtualUnit]


def _slope(middle: float, spread: float) -> Draw:
    def draw(rng: np.random.Generator) -> VirtualUnit:
        return replace(POPULATIONS["reference"].draw(rng), per_decade=float(rng.lognormal(np.log(middle), spread)))

    return draw


def _two_slopes(rng: np.random.Generator) -> VirtualUnit:
    return replace(POPULATIONS["reference"].draw(rng), per_decade=3.0 if rng.random() < 0.5 else 9.0)


def _clock(middle: float, edge: float, sd: float, limit: float) -> Draw:
    def draw(rng: np.random.Generator) -> VirtualUnit:
        while not limit * 0.15 <= (at := float(rng.normal(edge, sd))) <= 0.97 * limit:
            pass
        return VirtualUnit(at, float(rng.lognormal(np.log(middle), 0.35)))

    return draw


REFERENCE = POPULATIONS["reference"].draw
TAIL = POPULATIONS["soft-tail"].draw
MV = {"step": 5.0, "limit": 250.0, "kind": 0.0}
OTHERS: dict[str, tuple[Draw, dict[str, float]]] = {
    "slope 3": (_slope(3.0, 0.1), MV),
    "slope 7": (_slope(7.0, 0.1), MV),
    "slope 8": (_slope(8.0, 0.2), MV),
    "two slopes": (_two_slopes, MV),
    "step 1": (REFERENCE, MV | {"step": 1.0}),
    "step 10": (REFERENCE, MV | {"step": 10.0}),
    "goal 10": (TAIL, MV | {"mttf_hours": 10.0}),
    "goal 1000": (TAIL, MV | {"mttf_hours": 1000.0}),
    "clock wide": (_clock(15.0, 160.0, 45.0, 300.0), {"step": 15.0, "limit": 300.0, "kind": 1.0}),
    "memory": (_clock(25.0, 500.0, 150.0, 1000.0), {"step": 25.0, "limit": 1000.0, "kind": 2.0}),
}


def main(units: int, seed: int, path: str) -> None:
    names = ("edge", "per_decade", "background", "shape", "warm_drop", "swing", "swing_phase", "mislogged", "late",
             "soft_share", "jitter", "harsh_drop", "most_per_hour")  # fmt: skip
    found: dict[str, np.ndarray] = {}
    ladders = {one.population: one for one in rehearse(units, seed, populations=tuple(POPULATIONS),
                                                       strategies=("ladder",), workers=1)}  # fmt: skip
    all_of: dict[str, tuple[Draw, dict[str, float]]] = {
        name: (p.draw, MV if p.knob.unit == "mV" else {"step": 15.0, "limit": 300.0, "kind": 1.0})
        for name, p in POPULATIONS.items()
    } | OTHERS
    for name, (draw, bench) in all_of.items():
        drawn = [draw(np.random.default_rng([seed, index, 0])) for index in range(units)]
        for field in names:
            found[f"{name}/{field}"] = np.array([float(getattr(unit, field)) for unit in drawn])
        hours = bench.get("mttf_hours", 100.0)
        found[f"{name}/best"] = np.array([unit.best_depth(hours, bench["limit"]) for unit in drawn])
        ladder = ladders[name].hours if name in ladders else np.nan
        found[f"{name}/bench"] = np.array([bench["step"], bench["limit"], hours, bench["kind"], ladder])
    np.savez_compressed(path, allow_pickle=False, **found)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3])
