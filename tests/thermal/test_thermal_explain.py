"""A trace in words: what is known of a generated one comes back, and what is doubtful is said."""

from __future__ import annotations

import json

import numpy as np
import pytest
from made_machines import machines
from made_traces import Part, run_part
from test_thermal_heat import ROOM, in_turn

from surefoot.runs import Trace
from surefoot.thermal.explain import explain
from surefoot.units import Conditions, Unit

CARD = Unit(name="shoebox-3", ceilings_celsius={"cpu": 95}, power_limits_watts={"cpu": 53})


@pytest.mark.parametrize("seed", range(3))
def test_known_resistance_limit_and_time_constants_are_recovered(seed: int) -> None:
    """Stated tolerances: resistance 4 %, limit 2 %, time constants 25 %, end 0.7 degrees."""
    part = Part(
        power_limit=53.0,
        short_limit=71.0,
        die_kelvin_per_watt=(0.25, 0.35, 0.5)[seed],
        sink_kelvin_per_watt=(0.7, 0.55, 0.45)[seed],
        die_seconds=(5.0, 8.0, 12.0)[seed],
        sink_seconds=(140.0, 200.0, 260.0)[seed],
        ceiling=110.0,
    )
    trace, _ = run_part(part, 30, seed, noise=0.6)
    said = explain(trace, CARD, Conditions(ambient_celsius=part.room))
    cpu = said.domains["cpu"]
    assert cpu.resistance is not None
    assert cpu.resistance.kelvin_per_watt == pytest.approx(part.resistance, rel=0.04)
    assert cpu.resistance.low < part.resistance < cpu.resistance.high
    assert cpu.limiter.main == "power"
    assert cpu.limiter.plateaus[-1].watts == pytest.approx(53.0, rel=0.02)
    assert cpu.steady is not None
    assert cpu.steady.reached
    assert cpu.steady.final_celsius == pytest.approx(part.room + 53.0 * part.resistance, abs=0.7)
    assert cpu.steady.time_constants_seconds[-1] == pytest.approx(part.sink_seconds, rel=0.25)
    assert any("thermal resistance to the room" in text for text in said.sentences)


def test_a_part_at_its_ceiling_is_explained_as_such() -> None:
    part = Part(power_limit=200.0, full_watts=80.0, die_kelvin_per_watt=0.6, sink_kelvin_per_watt=0.8, ceiling=88.0)
    trace, truth = run_part(part, 15, 1)
    cpu = explain(trace, Unit(name="x", ceilings_celsius={"cpu": 88})).domains["cpu"]
    assert cpu.limiter.main == "thermal"
    assert cpu.limiter.shares["thermal"] == pytest.approx(float((truth == 3).mean()), abs=0.05)
    assert cpu.steady is not None
    assert cpu.steady.final_celsius == pytest.approx(88, abs=1.0)
    assert cpu.resistance is None
    assert "room" in cpu.no_resistance


def test_coupling_is_said_in_words() -> None:
    trace, truth = in_turn(2)
    said = explain(trace, None, Conditions(ambient_celsius=ROOM))
    assert said.coupling is not None
    assert said.coupling.matrix == pytest.approx(truth, rel=0.08)
    assert any("20 W less" in text for text in said.sentences)
    record = said.as_record()
    assert record["coupling"]["gpu_20_watts_less"]["gpu"]["celsius"] < -5
    json.dumps(record, allow_nan=True)
    assert "labels" not in record["domains"]["cpu"]["limiter"]


def test_doubts_are_said() -> None:
    n = 600
    t = np.concatenate([np.arange(300.0), 3000 + np.arange(300.0)])
    trace = Trace(
        t,
        {
            "cpu.temperature": np.full(n, 55.0),
            "cpu.power": np.linspace(5, 60, n),
            "gpu.temperature": np.concatenate([np.full(500, 200.0), np.full(100, 60.0)]),
            "room.temperature": np.linspace(20, 26, n),
            "memory.count.corrected": np.concatenate([np.zeros(300), np.full(300, 4.0)]),
            "supply.count.online": np.ones(n),
            "battery.count.discharging": np.ones(n),
        },
    )
    said = " / ".join(explain(trace).warnings)
    for words in (
        "stuck",
        "sensor or its unit is wrong",
        "room moved",
        "corrected errors",
        "battery was drained",
        "gap",
    ):
        assert words in said
    assert "passed the ceiling of 90" in " / ".join(
        explain(trace, Unit(name="x", ceilings_celsius={"gpu": 90})).warnings
    )


def test_nothing_to_explain_is_said() -> None:
    assert explain(Trace(np.zeros(0))).sentences == ("The trace has no samples.",)
    other = explain(Trace(np.arange(10.0), {"fan.fan": np.full(10, 3000.0)}))
    assert "no channel of the CPU or the GPU" in other.sentences[0]


def test_resistance_is_not_to_the_room_while_another_source_heats_the_sink() -> None:
    trace, _ = run_part(Part(), 15, seed=4)
    both = Trace(trace.seconds, {**trace.channels, "gpu.power": np.full(len(trace), 60.0)})
    said = explain(both, None, Conditions(ambient_celsius=22.0)).domains["cpu"]
    assert said.resistance is None
    assert "another source drew 60 W" in said.no_resistance
    alone = explain(trace, None, Conditions(ambient_celsius=22.0)).domains["cpu"]
    assert alone.resistance is not None
    assert not alone.resistance.coupled


def test_boost_peaks_energy_and_cores_are_told() -> None:
    trace, _ = run_part(Part(short_limit=64.0, short_seconds=40.0), 12, seed=2)
    cores = {f"cpu.temperature.core-{place}": np.full(len(trace), 60.0 + 2 * place) for place in range(4)}
    fan = {"fan.fan": np.where(trace.seconds < 300, 1500.0, 2200.0)}
    said = explain(Trace(trace.seconds, {**trace.channels, **cores, **fan}))
    part = said.domains["cpu"]
    celsius, power = trace.channels["cpu.temperature"], trace.channels["cpu.power"]
    assert part.figures.highest_celsius == celsius.max()
    assert part.figures.p95_celsius == pytest.approx(np.percentile(celsius, 95), abs=1.0)
    assert part.figures.energy_joules == pytest.approx(power.sum(), rel=0.01)
    assert part.figures.mean_mhz is not None and part.figures.mean_watts is not None
    assert part.figures.mhz_per_watt == pytest.approx(part.figures.mean_mhz / part.figures.mean_watts)
    assert part.figures.spreads[0].width == pytest.approx(6.0)
    assert part.figures.spreads[0].highest_core == "core-3"
    assert said.fans[0].steps == 1
    assert part.limiter.boost is not None
    assert part.limiter.boost.seconds == pytest.approx(40, abs=3)
    assert any("boost of" in text for text in part.sentences)
    assert any("for the card: power" in text for text in part.sentences)
    assert said.as_record()["domains"]["cpu"]["figures"]["episodes"]


def test_episodes_are_counted_with_their_first_minute() -> None:
    t = np.arange(600.0)
    reasons = np.where(((t >= 120) & (t < 180)) | ((t >= 300) & (t < 330)) | ((t >= 334) & (t < 340)), 0x40, 0x0)
    figures = explain(Trace(t, {"gpu.reasons": reasons.astype(float)})).domains["gpu"].figures
    assert figures.first_throttled_minute == pytest.approx(2.0, abs=0.05)
    assert [(one.label, one.count) for one in figures.episodes] == [("thermal", 2)]
    assert figures.episodes[0].minutes == pytest.approx(96 / 60, abs=0.1)


def test_means_under_load_leave_idling_out() -> None:
    trace, _ = run_part(Part(power_limit=40.0), 12, seed=2, idle_before=4.0)
    figures = explain(trace).domains["cpu"].figures
    assert figures.mean_watts == pytest.approx(40, rel=0.03)
    assert figures.energy_joules == pytest.approx(float(trace.channels["cpu.power"].sum()), rel=0.01)


def test_a_part_that_holds_its_own_temperature_is_not_said_to_be_on_its_way() -> None:
    one = machines("thermal", 6, 4, "dev", chassis=True, fan_steps=False)[1]
    said = explain(one.trace, Unit(name="made"), Conditions(ambient_celsius=one.notes["room"])).sentences
    assert any("kept at 69." in text and "by the part itself" in text for text in said)
    assert not any("not settled" in text for text in said)


def test_a_power_limit_that_may_be_one_of_current_says_so() -> None:
    one = machines("current", 6, 2, "held", chassis=True, fan_steps=False)[1]
    part = explain(one.trace, Unit(name="made"), Conditions(ambient_celsius=one.notes["room"])).domains["cpu"]
    assert part.limiter.main == "power"
    assert part.limiter.confidence < 0.75
    assert "a current limit would look much the same" in part.limiter.rule
