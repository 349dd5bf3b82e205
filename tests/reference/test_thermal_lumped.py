"""Lumped heating against its analytic solution and, coupled, against scipy's integrator."""

from __future__ import annotations

import numpy as np
import pytest

from surefoot.thermal.rc import LumpedModel
from surefoot.thermal.steady import steady_state


@pytest.mark.parametrize(("constants", "share"), [(1, 0.632), (3, 0.950), (4, 0.982)])
def test_share_of_the_rise_after_time_constants(constants: int, share: float) -> None:
    """63.2 % of the rise after one time constant, 95.0 % after three, 98.2 % after four (lumped capacitance)."""
    model = LumpedModel.of({"sink": 200.0}, {}, {"sink": 2.0})  # 200 J/K over 2 W/K: 100 s
    assert model.time_constants_seconds == pytest.approx([100.0])
    celsius = model.simulate(np.arange(0.0, 401.0), [60.0], 20.0)[:, 0]
    assert (celsius[100 * constants] - 20.0) / 30.0 == pytest.approx(share, abs=5e-4)


def test_one_body_follows_the_analytic_solution() -> None:
    """T = T_room + P R (1 - exp(-t / RC)), any text on lumped capacitance."""
    model = LumpedModel.of({"die": 30.0}, {}, {"die": 0.8})
    t = np.sort(np.random.default_rng(0).uniform(0, 400, 200))
    t[0] = 0.0
    expected = 22.0 + 45.0 / 0.8 * (1 - np.exp(-t * 0.8 / 30.0))
    assert model.simulate(t, [45.0], 22.0)[:, 0] == pytest.approx(expected, abs=1e-9)


def test_coupled_bodies_follow_scipy() -> None:
    """Two dies on one heatsink, powers that step: against scipy.integrate.solve_ivp (an independent integrator)."""
    from scipy.integrate import solve_ivp

    capacities = {"cpu": 12.0, "gpu": 25.0, "sink": 350.0}
    model = LumpedModel.of(capacities, {("cpu", "sink"): 2.5, ("gpu", "sink"): 4.0}, {"sink": 1.6, "cpu": 0.05})
    t = np.arange(0.0, 1200.0, 1.0)
    watts = np.zeros((t.size, 3))
    watts[t >= 60, 0] = 45.0
    watts[t >= 400, 1] = 80.0
    watts[t >= 800, 0] = 15.0

    def slope(time: float, state: np.ndarray) -> np.ndarray:
        power = np.array([0.0 if time < 60 else 15.0 if time >= 800 else 45.0, 80.0 if time >= 400 else 0.0, 0.0])
        flow_cpu, flow_gpu = 2.5 * (state[0] - state[2]), 4.0 * (state[1] - state[2])
        out_cpu, out_sink = 0.05 * (state[0] - 23.0), 1.6 * (state[2] - 23.0)
        return np.array(
            [
                (power[0] - flow_cpu - out_cpu) / 12.0,
                (power[1] - flow_gpu) / 25.0,
                (flow_cpu + flow_gpu - out_sink) / 350.0,
            ]
        )

    reference = np.empty((t.size, 3))
    state = np.full(3, 23.0)
    for start, end in ((0, 60), (60, 400), (400, 800), (800, 1199)):
        solved = solve_ivp(slope, (start, end - 1e-9), state, t_eval=t[start:end], rtol=1e-9, atol=1e-9)
        reference[start:end] = solved.y.T
        state = solve_ivp(slope, (start, end - 1e-9), state, rtol=1e-9, atol=1e-9).y[:, -1]
    assert np.abs(model.simulate(t, watts, 23.0)[:1199] - reference[:1199]).max() < 1e-4


def test_the_fit_recovers_the_eigenvalues_of_a_coupled_model() -> None:
    """The two time constants of a die on a heatsink, from its simulated and noisy rise, within a quarter."""
    model = LumpedModel.of({"die": 15.0, "sink": 260.0}, {("die", "sink"): 2.2}, {"sink": 1.5})
    t = np.arange(0.0, 1500.0)
    celsius = model.simulate(t, [50.0, 0.0], 21.0)[:, 0] + 0.25 * np.random.default_rng(3).normal(size=t.size)
    state = steady_state(t, celsius)
    assert state.time_constants_seconds == pytest.approx(tuple(model.time_constants_seconds), rel=0.25)
    assert state.final_celsius == pytest.approx(21.0 + 50.0 * model.resistance[0, 0], abs=0.3)
