"""A load done by hand: only the time is kept."""

from __future__ import annotations

import time

import pytest

from surefoot.errors import BadInput
from surefoot.rig.loads.by_hand import ByHandLoad
from surefoot.units import LoadCard


def test_the_time_is_kept_and_the_instructions_are_shown(finish):
    load = ByHandLoad(LoadCard(name="game", instructions="Play the second level.", exercises=("gpu",)))
    assert load.by_hand
    assert (load.name, load.exercises()) == ("game", ("gpu",))
    session = load.start(0.3 / 60)
    state = session.poll()
    assert (state.state, state.phase) == ("running", "Play the second level.")
    state = finish(session)
    assert (state.state, state.outcome) == ("done", None)
    assert state.progress == pytest.approx(0.3 / 60)


def test_it_may_be_ended_early():
    session = ByHandLoad().start(5)
    time.sleep(0.05)
    state = session.stop()
    assert state.state == "stopped"
    assert 0 < state.progress < 1
    assert session.stop() is state
    assert session.poll() is state


def test_bad_input():
    with pytest.raises(BadInput):
        ByHandLoad().start(0)


def test_the_sensors_are_witnesses_of_what_was_done(monkeypatch):
    from surefoot.rig.loads import witness
    from surefoot.rig.loads.by_hand import ByHandSession

    monkeypatch.setattr(witness, "LOOK_SECONDS", 0.0)
    samples = iter([{"cpu.busy": 20.0, "gpu.busy": 97.0, "gpu.power": 90.0, "gpu.power-limit": 100.0}] * 3)
    seen = witness.Witness(lambda: next(samples, {"cpu.busy": 20.0}))
    session = ByHandSession("Play.", 60.0, seen)
    for _ in range(3):
        assert session.poll().state == "running"
    state = session.stop()
    assert state.detail["witness"] == {"cpu busy": 0.2, "gpu busy": 0.97, "gpu power share": 0.9}
    assert "graphics 97% busy at 90% of its power limit" in state.message


def test_a_machine_without_sensors_still_tells_how_busy_its_processor_was(monkeypatch):
    from surefoot.rig.loads import witness

    monkeypatch.setattr(witness, "LOOK_SECONDS", 0.0)
    seen = witness.Witness(dict)
    for _ in range(3):
        seen.look()
        time.sleep(0.05)
    assert 0 <= seen.told()["witness"]["cpu busy"] <= 1
