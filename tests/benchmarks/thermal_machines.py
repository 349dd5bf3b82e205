"""What the sensors say when nobody tells the limits: every measure over made-up machines whose truth is known.

Run by hand: python tests/benchmarks/thermal_machines.py [--count 40] [--seed 5]. The machines are those of
`tests/thermal/made_machines.py`: the world ``dev`` that the rules were made on, and ``held``, whose ranges are wider;
and those of `made_other_machines.py`, which are of other kinds.
"""

from __future__ import annotations

import argparse
import json
import sys
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "thermal"))

from made_machines import KINDS, machines
from made_other_machines import POPULATIONS, other_machine
from made_silicon import Silicon
from made_sinks import sink

from surefoot.errors import BadInput
from surefoot.thermal.fan import fan_series
from surefoot.thermal.forecast import What, what_if
from surefoot.thermal.heat import coupling
from surefoot.thermal.labels import CODE
from surefoot.thermal.limiter import limiters
from surefoot.thermal.steady import forecast_final
from surefoot.thermal.stretches import heat_points

OTHER, CURRENT = CODE["other"], CODE["current"]


def as_told(label: str) -> str:
    """A current limit without a flag may be said as "another limit, not heat and not power"."""
    return "current" if label == "other" else label


def judged(world: str, kind: str, count: int, seed: int, hide: bool = False) -> dict[str, Any]:
    """The limiter over ``count`` machines of a kind."""
    right = contradicted = 0
    wrong_minutes: list[float] = []
    calls: list[tuple[float, bool, str]] = []
    said: Counter[str] = Counter()
    power: list[float] = []
    throttle: list[float] = []
    made = machines(kind, count, seed, world, chassis=None, fan_steps=None, hide=hide)
    for one in made:
        report = limiters(one.trace, one.card)["cpu"]
        good = as_told(report.main) == one.label
        right += good
        said[report.main] += 1
        calls.append((report.confidence, good, report.main))
        labels = np.where(report.labels == OTHER, CURRENT, report.labels)
        wrong_minutes.append(float((labels != one.truth).mean()))
        contradicted += bool(report.contradicted)
        power += [abs(f.value / one.power_limit - 1) for f in report.found if f.kind == "power"]
        throttle += [abs(f.value - one.throttle_celsius) for f in report.found if f.kind == "throttle point"]
    return {
        "right": right / len(made),
        "right or contradicted": max(right, contradicted) / len(made) if kind == "wrong-card" else None,
        "minutes wrong": float(np.mean(wrong_minutes)),
        "said": dict(said),
        "power limit found within 3 %": float(np.mean([p < 0.03 for p in power])) if power else None,
        "throttle point found within 2 degrees": float(np.mean([t < 2 for t in throttle])) if throttle else None,
        "calls": calls,
    }


def ends(world: str, count: int, seed: int, chassis: bool, fan: bool) -> dict[str, float]:
    """End temperatures of power-limited machines, whose true end is known exactly: coverage, bias, settled."""
    inside, bias, width, settled = [], [], [], []
    for minutes in (15.0, 30.0):
        for one in machines("long-term", count, seed, world, chassis=chassis, fan_steps=fan, minutes=minutes):
            state = forecast_final(one.trace.seconds, one.trace.channels["cpu.temperature"], fan_series(one.trace))
            inside.append(state.low <= one.final_celsius <= state.high)
            bias.append(state.final_celsius - one.final_celsius)
            width.append(state.half_width)
            if state.reached:
                settled.append(inside[-1])
    return {
        "covered": float(np.mean(inside)),
        "of those called settled": float(np.mean(settled)) if settled else float("nan"),
        "called settled": len(settled) / len(inside),
        "bias": float(np.mean(bias)),
        "median half width": float(np.median(width)),
    }


def sinks(count: int, fan: bool) -> dict[str, float]:
    """Coupling of two sources on a sink: coverage of its entries and of what 20 W less on one would do."""
    entries, changes, refused = [], [], 0
    for seed in range(count):
        made = sink(seed, fan_steps=fan)
        try:
            found = coupling(heat_points(made.trace))
        except BadInput:
            refused += 1
            continue
        entries.append((found.low <= made.matrix) & (made.matrix <= found.high))
        true = made.matrix @ np.array([0.0, -20.0])
        guess = found.what_if({"gpu": -20.0})
        changes += [guess[name].low <= true[row] <= guess[name].high for row, name in enumerate(("cpu", "gpu"))]
    return {"entries covered": float(np.mean(entries)), "what-if covered": float(np.mean(changes)), "refused": refused}


def others(population: str, count: int) -> dict[str, Any]:
    """The limiter over machines that the rules were never fitted to. A cover's limit may be called another one."""
    right, calls = 0, []
    said: Counter[str] = Counter()
    for seed in range(count):
        one = other_machine(population, seed)
        report = limiters(one.trace)[one.domain]
        hidden = population == "skin" and one.label == "thermal" and report.main in ("other", "unknown", "power")
        good = report.main == one.label or hidden
        right += good
        said[f"{one.label} as {report.main}"] += 1
        calls.append((report.confidence, good, report.main))
    return {"right": right / count, "said": dict(said), "calls": calls}


def forecasts(count: int) -> dict[str, float]:
    """What-if: coverage of power, temperature and clock by 95 % intervals, by what holds the part and what changes."""
    covered = {}
    for limit in ("free", "power", "thermal"):
        for change in ("offset", "steep curve, offset", "room", "cooling"):
            inside = []
            for seed in range(count):
                part = Silicon(seed)
                if change.startswith("steep"):
                    part.slope = 0.35 + 0.2 * seed / count
                offset = -0.08 if change.endswith("offset") else 0.0
                room = part.room + (7.0 if change == "room" else 0.0)
                cooling = 0.85 if change == "cooling" else 1.0
                made = what_if(part.point(limit), What(offset * 1000, 0.0, None, room, cooling))
                watts, celsius, mhz = part.under(limit, offset, room, cooling)
                assert made.clock_mhz is not None
                inside += [made.watts.holds(watts), made.celsius.holds(celsius), made.clock_mhz.holds(mhz)]
            covered[f"{limit}, {change}"] = float(np.mean(inside))
    return covered


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="machines of each kind in each world")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    warnings.simplefilter("ignore", RuntimeWarning)
    calls: list[tuple[float, bool, str]] = []
    everything: dict[str, object] = {}
    for world in ("dev", "held"):
        wrong = []
        for kind in KINDS:
            found = judged(world, kind, options.count, options.seed)
            calls += found.pop("calls")
            everything[f"{world} {kind}"] = found
            wrong.append(found["minutes wrong"])
            if not options.json:
                said = ", ".join(f"{name} {count}" for name, count in found["said"].items())
                print(
                    f"{world:5}{kind:18} right {found['right']:.2f}  minutes wrong {found['minutes wrong']:.3f}  {said}"
                )
        everything[f"{world} minutes wrong"] = float(np.mean(wrong))
        hidden = judged(world, "long-term", options.count, options.seed + 1, hide=True)
        calls += hidden["calls"]
        if not options.json:
            print(f"{world:5}{'a channel missing':18} right {hidden['right']:.2f}  {hidden['said']}")
            print(f"{world:5}{'all kinds':18} minutes wrong {np.mean(wrong):.3f} (bar 0.08)")
    for population in POPULATIONS:
        found_others = others(population, max(options.count // 2, 6))
        calls += found_others.pop("calls")
        everything[f"other {population}"] = found_others
        if not options.json:
            print(f"other {population:18} right {found_others['right']:.2f}  {found_others['said']}", flush=True)
    for low, high in ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.87), (0.87, 0.93), (0.93, 1.01)):
        some = [good for sure, good, main in calls if low <= sure < high and main != "unknown"]
        if some:
            everything[f"confidence {low} to {high}"] = (len(some), float(np.mean(some)))
            if not options.json:
                print(f"said with {low:.2f} to {high:.2f}: right {np.mean(some):.2f} of {len(some)}")
    for world in ("dev", "held"):
        for chassis, fan in ((False, False), (True, False), (False, True), (True, True)):
            found_ends = ends(world, max(options.count // 2, 4), options.seed, chassis, fan)
            name = f"{world} end{', chassis' if chassis else ''}{', fan steps' if fan else ''}"
            everything[name] = found_ends
            if not options.json:
                print(f"{name:28}" + "  ".join(f"{key} {value:.2f}" for key, value in found_ends.items()), flush=True)
    for fan in (False, True):
        found_sinks = sinks(max(options.count // 2, 4), fan)
        name = f"coupling{', fan steps' if fan else ''}"
        everything[name] = found_sinks
        if not options.json:
            print(f"{name:28}" + "  ".join(f"{key} {value:.2f}" for key, value in found_sinks.items()), flush=True)
    covered = forecasts(max(options.count // 2, 6))
    everything["what-if covered"] = covered
    if not options.json:
        print("what-if covered: " + "; ".join(f"{name} {share:.2f}" for name, share in covered.items()))
    unknown = sum(main == "unknown" for _, _, main in calls)
    everything["not known"] = unknown
    if options.json:
        print(json.dumps(everything, indent=2))
    else:
        print(f"not known: {unknown} of {len(calls)} machines")


if __name__ == "__main__":
    main()
