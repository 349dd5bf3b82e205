"""Plausible slips in scores that no test noticed once."""

from __future__ import annotations

import math

import pytest
from test_trial_judging import POINTS, configurations

from surefoot.runs import Reading
from surefoot.scores.comparison import compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.metrics import Sample, of_reading
from surefoot.units import Setting

SOUND = of_reading(Reading(kind="sound", value=40, place="bench"))


def test_sound_levels_of_one_run_are_averaged_by_energy() -> None:
    one = configurations(1)
    cell = compare(one, [Sample(SOUND, one[0].key, level, run_id=1) for level in (30.0, 50.0)]).rows[0].cells[0]
    # 10 lg of the mean of 10^3 and 10^5: 47.0 dB, where the plain mean would be 40.
    assert cell.mean == pytest.approx(10 * math.log10((1e3 + 1e5) / 2)) == pytest.approx(47.03, abs=0.01)


def test_a_metric_that_does_not_depend_on_the_load_keeps_its_baseline_under_another_load() -> None:
    made = []
    for load, depth in (("sums", 0.0), ("scenes", 30.0)):
        setting = Setting(values={"cpu-core": -depth})
        key = key_of(Parts(None, None, setting, load, None))
        made.append(Configuration(key, load, load, None, None, None, setting, load, None))
    samples = [
        Sample(POINTS, one.key, 1000.0 + 50 * which + turn, run_id=2 * turn + which)
        for which, one in enumerate(made)
        for turn in range(5)
    ]
    cell = compare(made, samples).rows[0].cells[1]
    assert not POINTS.by_load and cell.against == made[0].key and cell.gain is not None and cell.is_real
