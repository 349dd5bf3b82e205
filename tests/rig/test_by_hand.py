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
