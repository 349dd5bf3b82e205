"""Populations of virtual units by name: the reference, and those where the search's model is wrong.

All are of one knob, a voltage offset in mV but for the clock. The reference is the one by which searches are compared;
each of the others changes one thing. Invented for rehearsal: they describe no product.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from surefoot.errors import BadInput
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.search import Goal
from surefoot.units import Knob

KNOB = Knob("core", "cpu", "mV", "down", step=5.0, limit=250.0)
GOAL = Goal()
CLOCK = Knob("core", "gpu", "MHz", "up", step=15.0, limit=300.0)

Draw = Callable[[np.random.Generator], VirtualUnit]


@dataclass(frozen=True)
class Population:
    """A population: how its units are drawn, what is particular about it, and the knob that is tuned.

    ``soft_load``: whether the load's card would say that a failure is likely to show as a wrong result.
    """

    name: str
    says: str
    draw: Draw
    knob: Knob = KNOB
    soft_load: bool = False


def _within(rng: np.random.Generator, mean: float, sd: float, low: float, high: float) -> float:
    """A normal draw, drawn again until it lies inside."""
    while True:
        value = float(rng.normal(mean, sd))
        if low <= value <= high:
            return value


def _reference(rng: np.random.Generator) -> VirtualUnit:
    edge = _within(rng, 110.0, 30.0, 30.0, 220.0)
    return VirtualUnit(edge, float(rng.lognormal(np.log(5.0), 0.35)))


def _steep(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), per_decade=float(rng.lognormal(np.log(2.0), 0.1)))


def _soft(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), per_decade=float(rng.lognormal(np.log(10.0), 0.1)))


def _shallow(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), edge=_within(rng, 35.0, 12.0, 15.0, 60.0))


def _two_humped(rng: np.random.Generator) -> VirtualUnit:
    unit = _reference(rng)
    good = rng.random() < 0.5
    return replace(unit, edge=_within(rng, 150.0 if good else 70.0, 12.0, 30.0, 220.0))


def _drifting(rng: np.random.Generator) -> VirtualUnit:
    unit = _reference(rng)
    return replace(
        unit,
        warm_drop=float(rng.uniform(2.0, 6.0)),
        swing=float(rng.uniform(1.0, 3.0)),
        swing_phase=float(rng.uniform(0.0, 2.0 * np.pi)),
    )


def _background(rng: np.random.Generator) -> VirtualUnit:
    mttf_hours = float(np.exp(rng.uniform(np.log(125.0), np.log(1000.0))))
    return replace(_reference(rng), background=1.0 / mttf_hours)


def _mislogged(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), mislogged=0.03)


def _weibull(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), shape=0.6)


def _late(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), late=True)


def _self_checking(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), soft_share=0.8)


def _soft_tail(rng: np.random.Generator) -> VirtualUnit:
    unit = _reference(rng)
    return replace(unit, per_decade=13.0) if rng.random() < 0.3 else unit


def _near_stock(rng: np.random.Generator) -> VirtualUnit:
    return VirtualUnit(float(rng.uniform(12.0, 55.0)), float(rng.lognormal(np.log(4.0), 0.1)))


def _jittered(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), jitter=4.0)


def _harsh_minority(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), harsh_drop=15.0)


def _never_instant(rng: np.random.Generator) -> VirtualUnit:
    return replace(_reference(rng), most_per_hour=40.0)


def _clock(rng: np.random.Generator) -> VirtualUnit:
    return VirtualUnit(_within(rng, 160.0, 45.0, 45.0, 290.0), float(rng.lognormal(np.log(11.0), 0.1)))


POPULATIONS: dict[str, Population] = {
    population.name: population
    for population in (
        Population("reference", "edge normal(110, 30) mV, lognormal(ln 5, 0.35) mV per decade", _reference),
        Population("steep", "2 mV per decade, lognormal(ln 2, 0.1)", _steep),
        Population("soft", "10 mV per decade, lognormal(ln 10, 0.1)", _soft),
        Population("shallow", "edge normal(35, 12) mV", _shallow),
        Population("two-humped", "edge around 70 mV or around 150 mV, half each", _two_humped),
        Population("drifting", "edge 2 to 6 mV shallower once warm, swinging 1 to 3 mV within a session", _drifting),
        Population("background", "one failure in 125 to 1000 h that no depth explains", _background),
        Population("mislogged", "3 % of outcomes written down the wrong way round", _mislogged),
        Population("weibull", "time to failure Weibull, shape 0.6: most failures early", _weibull),
        Population("late", "a failure is found only when the planned time is over; its time is unknown", _late),
        Population("self-checking", "the load catches 80 % of the failures itself", _self_checking, soft_load=True),
        Population("soft-tail", "3 units in 10 at 13 mV per decade", _soft_tail),
        Population("near-stock", "edge uniform 12 to 55 mV, lognormal(ln 4, 0.1) mV per decade", _near_stock),
        Population("jittered", "the edge moves from run to run, standard deviation 4 mV", _jittered),
        Population("harsh-minority", "one minute in ten of the load is 15 mV harsher", _harsh_minority),
        Population("never-instant", "at most 40 failures an hour, however deep", _never_instant),
        Population("clock", "a clock in steps of 15 MHz, edge normal(160, 45), 11 MHz per decade", _clock, CLOCK),
    )
}


def population_named(name: str) -> Population:
    """The population of that name. Raises BadInput naming those there are."""
    if name not in POPULATIONS:
        known = ", ".join(POPULATIONS)
        raise BadInput(f"there is no population {name!r}.", where="rehearsal", remedy=f"Known: {known}.")
    return POPULATIONS[name]
