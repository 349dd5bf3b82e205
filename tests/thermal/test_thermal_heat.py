"""Heat: resistance, coupling over a shared heatsink, other rooms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_sinks import sink

from surefoot.errors import BadInput
from surefoot.runs import Trace
from surefoot.thermal.heat import HeatPoint, coupling, heat_point, refer_to_room, resistance
from surefoot.thermal.rc import LumpedModel
from surefoot.thermal.steady import steady_state
from surefoot.thermal.stretches import heat_points, stretches

# A mid-size laptop's shared heatsink, invented: K/W.
MATRIX = np.array([[0.80, 0.30], [0.28, 0.55]])
ROOM = 22.0
PHASES = ((52.0, 6.0), (9.0, 91.0), (46.0, 91.0))  # CPU alone, GPU alone, both: W


def shared_model() -> LumpedModel:
    """Two dies on one heatsink whose settled rise is close to MATRIX."""
    return LumpedModel.of(
        {"cpu": 12.0, "gpu": 25.0, "sink": 300.0},
        {("cpu", "sink"): 1 / 0.5, ("gpu", "sink"): 1 / 0.25},
        {"sink": 1 / 0.3},
    )


def in_turn(seed: int, minutes_each: float = 12.0, noise: float = 0.4) -> tuple[Trace, np.ndarray]:
    """A trace that loads CPU, GPU and both in turn; and the true 2 by 2 matrix."""
    random = np.random.default_rng(seed)
    model = shared_model()
    n = int(minutes_each * 60)
    watts = np.zeros((n * 3, 3))
    for place, (cpu, gpu) in enumerate(PHASES):
        watts[place * n : (place + 1) * n, :2] = cpu, gpu
    t = np.arange(watts.shape[0], dtype=float)
    celsius = model.simulate(t, watts, ROOM)
    channels = {}
    for place, domain in enumerate(("cpu", "gpu")):
        channels[f"{domain}.temperature"] = np.round(celsius[:, place] + noise * random.normal(size=t.size))
        channels[f"{domain}.power"] = watts[:, place] * (1 + 0.01 * random.normal(size=t.size))
    return Trace(t, channels), model.resistance[:2, :2]


def test_resistance_takes_the_interval_of_the_steady_state() -> None:
    t = np.arange(1500.0)
    y = 22 + 45 * 0.9 * (1 - np.exp(-t / 120)) + 0.3 * np.random.default_rng(1).normal(size=t.size)
    found = resistance(steady_state(t, y), 22.0, 45.0)
    assert found.kelvin_per_watt == pytest.approx(0.9, rel=0.02)
    assert found.low < 0.9 < found.high
    assert found.settled
    wider = resistance(steady_state(t, y), 22.0, 45.0, spread_reference=3.0)
    assert wider.high - wider.low > found.high - found.low


@pytest.mark.parametrize(
    ("celsius", "reference", "watts", "word"),
    [(60.0, 22.0, 0.0, "power"), (20.0, 22.0, 45.0, "above"), (float("nan"), 22.0, 45.0, "finite")],
)
def test_resistance_refuses_what_makes_no_sense(celsius: float, reference: float, watts: float, word: str) -> None:
    with pytest.raises(BadInput, match=word):
        resistance(celsius, reference, watts)


def test_resistance_of_an_unknown_end_is_refused() -> None:
    with pytest.raises(BadInput, match="not known"):
        resistance(steady_state([0.0, 1.0], [50.0, 51.0]), 22.0, 45.0)


def points(spread: float = 0.0, seed: int = 0, room: float | None = ROOM) -> list[HeatPoint]:
    random = np.random.default_rng(seed)
    made = []
    for cpu, gpu in PHASES:
        rise = MATRIX @ np.array([cpu, gpu]) + spread * random.normal(size=2)
        made.append(HeatPoint({"cpu": ROOM + rise[0], "gpu": ROOM + rise[1]}, {"cpu": cpu, "gpu": gpu}, room))
    return made


def test_coupling_is_recovered_exactly_from_exact_points() -> None:
    found = coupling(points())
    assert found.matrix == pytest.approx(MATRIX, abs=1e-6)
    assert found.residual_celsius == pytest.approx(0.0, abs=1e-6)


def test_coupling_fits_the_reference_where_the_room_was_not_measured() -> None:
    idle = HeatPoint(
        {"cpu": ROOM + float(MATRIX[0] @ [5, 6]), "gpu": ROOM + float(MATRIX[1] @ [5, 6])}, {"cpu": 5.0, "gpu": 6.0}
    )
    found = coupling([*points(room=None), idle])
    assert found.reference_celsius == pytest.approx(ROOM, abs=1e-3)
    assert found.matrix == pytest.approx(MATRIX, abs=1e-4)


def test_coupling_intervals_cover_the_truth() -> None:
    """With half a degree of error on each temperature, 95 % intervals cover at least 90 % of the entries."""
    inside = []
    for seed in range(60):
        found = coupling(points(0.5, seed))
        inside.append((found.low <= MATRIX) & (found.high >= MATRIX))
    assert float(np.mean(inside)) >= 0.90


def test_coupling_from_one_trace_loaded_in_turn() -> None:
    """Known resistances come back within 9 %, through steady states of 12 minutes with 1 degree steps."""
    trace, truth = in_turn(3)
    assert [round((end - start) / 60) for start, end in stretches(trace)] == [12, 12, 12]
    found = coupling(heat_points(trace, ROOM))
    assert found.points == 3
    assert found.matrix == pytest.approx(truth, rel=0.09)
    assert ((found.low <= truth) & (truth <= found.high)).all()


def test_twenty_watts_less_on_the_gpu() -> None:
    change = coupling(points()).what_if({"gpu": -20.0})
    assert change["cpu"].celsius == pytest.approx(-20 * 0.30, abs=1e-6)
    assert change["gpu"].celsius == pytest.approx(-20 * 0.55, abs=1e-6)
    assert change["gpu"].low < -11 < change["gpu"].high
    temperatures = coupling(points()).temperatures({"cpu": 40, "gpu": 60}, 25.0)
    assert temperatures["cpu"] == pytest.approx(25 + 0.8 * 40 + 0.3 * 60)


def test_coupling_says_what_it_lacks() -> None:
    with pytest.raises(BadInput, match="too few"):
        coupling(points()[:1])
    with pytest.raises(BadInput, match="rise and fall together"):
        same = [HeatPoint({"cpu": 22 + p, "gpu": 22 + p}, {"cpu": p, "gpu": p}, 22.0) for p in (10.0, 20.0, 40.0)]
        coupling(same)
    with pytest.raises(BadInput, match="no source 'disk'"):
        coupling(points()).what_if({"disk": 1.0})


def test_no_entry_is_negative_even_when_the_points_say_so() -> None:
    odd = [
        HeatPoint({"cpu": 60.0, "gpu": 40.0}, {"cpu": 40.0, "gpu": 5.0}, 22.0),
        HeatPoint({"cpu": 21.0, "gpu": 60.0}, {"cpu": 5.0, "gpu": 60.0}, 22.0),
    ]
    found = coupling(odd)
    assert (found.matrix >= 0).all()
    assert (found.low >= 0).all()


def test_a_point_is_taken_at_the_end_of_the_trace() -> None:
    trace, _ = in_turn(1)
    last = trace.between(1440, 2160)
    point = heat_point(last, ROOM)
    assert point.watts["gpu"] == pytest.approx(91, rel=0.01)
    assert point.reference_celsius == ROOM
    measured = Trace(last.seconds, {**last.channels, "room.temperature": np.full(len(last), 24.5)})
    assert heat_point(measured, ROOM).reference_celsius == 24.5


@given(celsius=st.floats(20, 110), measured=st.floats(10, 40), room=st.floats(10, 40))
@settings(max_examples=50)
def test_there_and_back_is_where_one_began(celsius: float, measured: float, room: float) -> None:
    there = refer_to_room(celsius, measured, room)
    assert there.moved
    assert refer_to_room(there.celsius, room, measured).celsius == pytest.approx(celsius)


def test_a_temperature_at_its_ceiling_is_not_moved() -> None:
    held = refer_to_room(95.0, 22.0, 30.0, thermally_limited=True)
    assert held.celsius == 95.0
    assert not held.moved
    assert "clock" in held.assumption
    stopped = refer_to_room(90.0, 22.0, 30.0, ceiling_celsius=95.0)
    assert stopped.celsius == 95.0
    assert "ceiling" in stopped.assumption
    assert "same cooling" in refer_to_room(80.0, 22.0, 30.0).assumption


def test_a_lumped_model_that_cannot_cool_is_refused() -> None:
    with pytest.raises(BadInput, match="cannot leave"):
        LumpedModel.of({"die": 10.0, "sink": 100.0}, {("die", "sink"): 2.0}, {})
    with pytest.raises(BadInput, match="positive"):
        LumpedModel.of({"die": 0.0}, {}, {"die": 1.0})


def test_another_room_has_an_interval_that_covers_leakage_and_the_fan() -> None:
    """A leaking part in another room, solved apart from the product, lies inside the interval."""
    for seed in range(60):
        random = np.random.default_rng(seed)
        room, shift = random.uniform(16, 28), random.uniform(-9, 9)
        rise, static, leak = random.uniform(30, 65), random.uniform(0.08, 0.30), random.uniform(0.005, 0.018)
        celsius = room + rise
        there = celsius + shift
        for _ in range(200):
            there = room + shift + rise * (1 - static + static * np.exp(leak * (there - celsius)))
        referred = refer_to_room(celsius, room, room + shift)
        assert referred.low <= there <= referred.high
        assert referred.low <= referred.celsius <= referred.high
    held = refer_to_room(70, 20, 28, power_held=True)
    assert held.high - held.celsius < refer_to_room(70, 20, 28).high - 78


def test_fans_that_step_between_points_are_told_and_covered() -> None:
    inside, what_if = [], []
    for seed in range(8):
        made = sink(seed)
        found = coupling(heat_points(made.trace))
        assert "the fans turned at" in found.assumption
        inside.append((found.low <= made.matrix) & (made.matrix <= found.high))
        for name, true in zip(("cpu", "gpu"), made.matrix @ np.array([0.0, -20.0]), strict=True):
            change = found.what_if({"gpu": -20.0})[name]
            what_if.append(change.low <= true <= change.high)
    assert float(np.mean(inside)) >= 0.9
    assert float(np.mean(what_if)) >= 0.9


def test_a_point_at_half_the_fan_is_not_taken_for_the_same_cooling() -> None:
    """Exact points at two fan speeds, the sink following speed to the power of 0.6."""
    own, shared, factor = 0.2, 0.3, 0.5**-0.6
    fast = np.array([[own + shared, shared], [shared, own + shared]])
    slow = np.array([[own + shared * factor, shared * factor], [shared * factor, own + shared * factor]])
    made = [
        HeatPoint(
            {"cpu": ROOM + float(rise[0]), "gpu": ROOM + float(rise[1])},
            {"cpu": watts[0], "gpu": watts[1]},
            ROOM,
            fan_rpm=rpm,
        )
        for watts, matrix, rpm in (
            ((45.0, 5.0), slow, 1500.0),
            ((8.0, 80.0), slow, 1500.0),
            ((40.0, 80.0), fast, 3000.0),
        )
        for rise in (matrix @ np.array(watts),)
    ]
    found = coupling(made)
    assert found.matrix == pytest.approx(fast, rel=0.1)
    assert "3000 rpm" in found.assumption
    blind = coupling([HeatPoint(p.celsius, p.watts, p.reference_celsius) for p in made])
    assert np.abs(blind.matrix - fast).max() > np.abs(found.matrix - fast).max()
