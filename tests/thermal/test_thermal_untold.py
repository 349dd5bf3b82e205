"""The limiter when nobody tells it the limits, over made-up machines of every kind; and what it finds for the card."""

from __future__ import annotations

import numpy as np
import pytest
from made_machines import KINDS, Machine, machines
from made_other_machines import POPULATIONS, other_machine
from made_traces import Part, run_part

from surefoot.runs import Trace
from surefoot.thermal.labels import CODE
from surefoot.thermal.limiter import LimiterReport, limiters
from surefoot.thermal.limits import Limits


def judged(kind: str, count: int, world: str, seed: int = 11) -> list[tuple[Machine, LimiterReport]]:
    minutes = 12.0 if world == "dev" else None
    made = machines(kind, count, seed, world, chassis=None, fan_steps=None, minutes=minutes)
    return [(one, limiters(one.trace, one.card)["cpu"]) for one in made]


def as_told(label: str) -> str:
    return "current" if label == "other" else label


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_told_with_nothing_told(kind: str) -> None:
    pairs = judged(kind, 14, "dev")
    assert np.mean([as_told(report.main) == one.label for one, report in pairs]) >= 0.9
    wrong = [np.mean(np.where(r.labels == CODE["other"], CODE["current"], r.labels) != m.truth) for m, r in pairs]
    assert float(np.mean(wrong)) <= 0.08


@pytest.mark.long
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "current"])
def test_every_kind_is_told_in_a_world_that_was_held_out(kind: str) -> None:
    pairs = judged(kind, 80, "held")
    assert np.mean([as_told(report.main) == one.label for one, report in pairs]) >= 0.85


@pytest.mark.long
def test_confidence_is_worth_what_it_says() -> None:
    calls = [
        (report.confidence, as_told(report.main) == one.label)
        for world in ("dev", "held")
        for kind in KINDS
        for one, report in judged(kind, 40, world)
        if report.main != "unknown"
    ]
    assert len(calls) > 500
    middle = [right for sure, right in calls if 0.58 <= sure < 0.72]
    high = [right for sure, right in calls if 0.87 <= sure < 0.93]
    assert 0.5 <= np.mean(middle) <= 0.8
    assert np.mean(high) >= 0.85


def test_a_limit_is_found_with_its_evidence() -> None:
    for one, report in judged("long-term", 8, "dev"):
        limit = next(found for found in report.found if found.kind == "power")
        assert limit.value == pytest.approx(one.power_limit, rel=0.03)
        assert limit.low <= limit.value <= limit.high
        assert "power stayed within" in limit.evidence
        assert not limit.known
    for one, report in judged("thermal", 8, "dev"):
        point = next(found for found in report.found if found.kind == "throttle point")
        assert point.value == pytest.approx(one.throttle_celsius, abs=2.0)


def test_a_card_that_is_fifteen_watts_too_high_is_contradicted() -> None:
    pairs = judged("wrong-card", 12, "dev")
    assert np.mean([bool(report.contradicted) for _, report in pairs]) >= 0.85
    one, report = pairs[0]
    assert f"{one.card.power_limits_watts['cpu']:g} W" in report.contradicted[0]
    # And a card that is right is not.
    right = Limits({}, {"cpu": one.power_limit})
    again = limiters(one.trace, right)["cpu"]
    assert again.contradicted == ()
    assert next(found for found in again.found if found.kind == "power").known


def test_hot_past_the_ceiling_with_flat_power_is_no_thermal_limit() -> None:
    for _, report in judged("past-the-ceiling", 10, "dev"):
        assert report.main == "power"
        assert report.share("thermal") < 0.1


def ramp(seconds: float = 900.0, boost: float = 16.0) -> Trace:
    """A short boost, then a lower level at which power is kept; 1 Hz."""
    random = np.random.default_rng(3)
    t = np.arange(seconds)
    early = t < boost
    celsius = np.where(early, 40 + 1.5 * t, 58 + 14 * (1 - np.exp(-(t - boost) / 120)))
    clock = np.where(early, 4300.0, 3600 - 60 * (1 - np.exp(-(t - boost) / 120)))
    power = np.where(early, 61.0, 38.0)
    return Trace(
        t,
        {
            "cpu.temperature": np.round(celsius + 0.3 * random.normal(size=t.size)),
            "cpu.power": power * (1 + 0.004 * random.normal(size=t.size)),
            "cpu.clock": clock + 5 * random.normal(size=t.size),
        },
    )


def test_a_boost_of_sixteen_seconds_is_not_hidden() -> None:
    report = limiters(ramp())["cpu"]
    assert report.main == "power"
    assert report.boost is not None
    assert report.boost.seconds == pytest.approx(16, abs=2)
    assert report.boost.watts == pytest.approx(61, rel=0.02)
    assert report.boost.then_watts == pytest.approx(38, rel=0.02)
    assert report.free_clock_mhz == pytest.approx(4300, rel=0.01)
    assert "16 s" in report.boost.sentence or "17 s" in report.boost.sentence


def test_a_clock_kept_below_one_reached_before_is_another_limit() -> None:
    """Power climbs with the heat at a constant clock, as if free; but a higher clock was there before."""
    t = np.arange(900.0)
    random = np.random.default_rng(4)
    light = t < 30
    warm = 1 - np.exp(-t / 150)
    trace = Trace(
        t,
        {
            "cpu.temperature": 40 + 30 * warm + 0.3 * random.normal(size=t.size),
            "cpu.clock": np.where(light, 4400.0, 4000.0) + 3 * random.normal(size=t.size),
            "cpu.power": np.where(light, 22.0, 50.0) * (1 + 0.06 * warm + 0.004 * random.normal(size=t.size)),
        },
    )
    report = limiters(trace)["cpu"]
    assert report.main == "other"
    assert "not heat and not power" in report.rule
    assert report.found[0].kind == "clock cap"


def test_the_same_trace_without_the_higher_clock_is_free() -> None:
    t = np.arange(900.0)
    warm = 1 - np.exp(-t / 150)
    trace = Trace(
        t, {"cpu.temperature": 40 + 30 * warm, "cpu.clock": np.full(900, 4000.0), "cpu.power": 50 * (1 + 0.06 * warm)}
    )
    assert limiters(trace)["cpu"].main == "free"


def test_a_throttle_point_that_is_known_is_used() -> None:
    one = machines("thermal", 1, 2)[0]
    known = limiters(one.trace, Limits(throttle_celsius={"cpu": one.throttle_celsius}))["cpu"]
    assert known.main == "thermal"
    far = limiters(one.trace, Limits(ceilings_celsius={"cpu": one.throttle_celsius + 15}))["cpu"]
    assert far.main == "thermal"
    assert any("not the throttle point" in text for text in far.contradicted)


def test_confidence_is_weighted_by_time() -> None:
    """Nine tenths of the time said with much confidence and one tenth with little is not half and half."""
    t = np.arange(1000.0)
    flags = {"gpu.reasons": np.where(t < 900, 4.0, np.nan), "gpu.count.power-throttle": np.where(t < 900, 0.0, t)}
    report = limiters(Trace(t, {name: np.asarray(values) for name, values in flags.items()}))["gpu"]
    uses = [use for use in report.rules if use.label == "power"]
    assert len(uses) == 2
    expected = sum(use.share * use.confidence for use in uses) / sum(use.share for use in uses)
    plain = float(np.mean([use.confidence for use in uses]))
    assert report.confidence == pytest.approx(expected)
    assert abs(expected - plain) > 0.02


def test_a_short_term_and_a_sustained_limit_are_told_apart() -> None:
    trace, _ = run_part(Part(short_limit=64.0, short_seconds=60.0, power_limit=42.0, ceiling=110), 15, seed=2)
    found = {one.kind: one for one in limiters(trace)["cpu"].found}
    assert found["power"].value == pytest.approx(42, rel=0.02)
    assert found["short-term power"].value == pytest.approx(64, rel=0.02)
    assert found["short-term power"].to_minutes < 1.3


@pytest.mark.parametrize("population", [name for name in POPULATIONS if name != "skin"])
def test_other_machines_than_the_rules_were_made_on(population: str) -> None:
    made = [other_machine(population, seed) for seed in range(6)]
    right = [limiters(one.trace)[one.domain].main == one.label for one in made]
    assert sum(right) >= 5


def test_a_limit_that_nothing_measures_is_not_called_free() -> None:
    """A tablet that holds its cover's temperature: the clock falls at full work, and nothing measured is kept."""
    one = other_machine("skin", 1)
    report = limiters(one.trace)[one.domain]
    assert one.label == "thermal"
    assert report.main == "other"
    assert "not measured" in report.rule
    # Its clock goes on falling: there is no cap to offer for the card.
    assert not [found for found in report.found if found.kind == "clock cap"]
    assert report.confidence <= 0.7


def test_without_power_a_thermal_limit_is_never_sure() -> None:
    one = machines("long-term", 1, 3)[0]
    channels = {name: values for name, values in one.trace.channels.items() if name != "cpu.power"}
    report = limiters(Trace(one.trace.seconds, channels))["cpu"]
    assert report.main != "free"
    assert report.confidence <= 0.75
