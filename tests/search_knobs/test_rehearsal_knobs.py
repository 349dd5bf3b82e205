"""Virtual units of several knobs: their truth, and that the claims made for them are honest."""

from __future__ import annotations

import math

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.rehearsal.knobs import CARDS, CORE, GPU, MEMORY, VirtualKnobs, draw, play_knobs, rehearse_knobs
from surefoot.rehearsal.virtual import VirtualUnit
from surefoot.runs import Outcome
from surefoot.units import Setting, Unit

PAIR = Unit(name="virtual", knobs=(CORE, GPU))
KNOWN = VirtualKnobs(PAIR, {"cpu-core": VirtualUnit(100, 5), "gpu-core": VirtualUnit(150, 15)})


def test_hazards_add():
    # 10^((90-100)/5) = 0.01 an hour and 10^((120-150)/15) = 0.01 an hour: 100 h each, 50 h together.
    assert KNOWN.mttf_hours(Setting(values={"cpu-core": -90})) == pytest.approx(100)
    assert KNOWN.mttf_hours(Setting(values={"gpu-core": 120})) == pytest.approx(100)
    assert KNOWN.mttf_hours(Setting(values={"cpu-core": -90, "gpu-core": 120})) == pytest.approx(50)
    assert KNOWN.mttf_hours(Setting()) == math.inf
    assert KNOWN.best_alone(CORE, 100) == pytest.approx(90, abs=1e-6)


def test_runs_fail_as_often_as_the_hazards_say():
    rng = np.random.default_rng(3)
    setting = Setting(values={"cpu-core": -100, "gpu-core": 150})
    found = [KNOWN.hold(setting, 20, rng) for _ in range(4000)]
    failed = [closing for closing in found if closing.outcome is not Outcome.HELD]
    # Two hazards of one an hour for a third of an hour; half of the failures are each knob's.
    assert len(failed) / 4000 == pytest.approx(1 - math.exp(-2 / 3), abs=0.025)
    gpu = sum(closing.judged_by.endswith("gpu-core") for closing in failed)
    assert gpu / len(failed) == pytest.approx(0.5, abs=0.04)
    assert all(closing.minutes < 20 for closing in failed)


def test_graphics_memory_fails_as_slow_at_the_end_of_the_run():
    unit = VirtualKnobs(Unit(name="virtual", knobs=(MEMORY,)), {"gpu-memory": VirtualUnit(100, 5)})
    closing = unit.hold(Setting(values={"gpu-memory": 500}), 15, np.random.default_rng(1))
    assert closing.outcome is Outcome.SLOW
    assert (closing.minutes, closing.timed) == (15, False)


def test_the_linked_cache_brings_a_hazard_of_its_own():
    unit = draw(CARDS["two"], np.random.default_rng(7))
    setting = unit.card.setting_at({"cpu-core": 100})
    assert set(unit.hazards(setting)) == {"cpu-core", "cpu-cache"}


def test_a_supply_that_sags_raises_each_hazard_by_the_others_depth():
    # 150 of 300 MHz is half the way: at 2 decades one decade more for the core; 100 of 250 mV are 0.8 for the GPU.
    shared = VirtualKnobs(PAIR, KNOWN.truths, 2.0)
    setting = Setting(values={"cpu-core": -100, "gpu-core": 150})
    assert shared.hazards(setting) == pytest.approx({"cpu-core": 10.0, "gpu-core": 10.0**0.8})
    alone = Setting(values={"cpu-core": -100})
    assert shared.hazards(alone) == KNOWN.hazards(alone)


def test_a_unit_played_twice_is_the_same_and_workers_do_not_matter():
    assert play_knobs(CARDS["two"], 5, 3) == play_knobs(CARDS["two"], 5, 3)
    seen = []
    one = rehearse_knobs(3, 5, card="two", progress=lambda done, of: seen.append((done, of)))
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert rehearse_knobs(3, 5, card="two", workers=2) == one


@pytest.mark.parametrize(
    ("asked", "says"), [({"card": "nine"}, "no card"), ({"units": 0}, "at least 1"), ({"seed": -1}, "at least 0")]
)
def test_bad_asking_is_refused(asked, says):
    with pytest.raises(BadInput, match=says):
        rehearse_knobs(**{"units": 1, "seed": 1, "card": "two", **asked})


def test_claims_for_the_whole_setting_hold_on_a_few_units():
    found = rehearse_knobs(4, 11, card="three")
    assert found.told >= 3
    assert found.honest >= 0.75
    assert found.held_together == 1.0
    assert found.soft_failures > 0


@pytest.mark.long
@pytest.mark.parametrize("card", ["two", "three"])
def test_claims_for_the_whole_setting_are_honest(card):
    # The design's word: of the units told "90 %", at least 90 % hold. 150 units: the interval says how sure this is.
    found = rehearse_knobs(150, 2, card=card)
    assert found.told >= 140
    assert found.honest >= 0.90
    assert found.held_together == 1.0
