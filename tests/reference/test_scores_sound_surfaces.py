"""Sound correction and surface thresholds against the standards' own figures."""

from __future__ import annotations

import pytest

from surefoot.scores.sound import corrected_level, mean_level
from surefoot.scores.surfaces import judge


def test_background_correction_figures() -> None:
    # ISO 3744, background noise correction; ECMA TR/107 states 1.26 dB at 6 dB and 0.46 dB at 10 dB (read).
    assert corrected_level(46, 40).correction == pytest.approx(1.26, abs=0.005)
    assert corrected_level(50, 40).correction == pytest.approx(0.46, abs=0.005)
    assert corrected_level(55, 40).correction == 0.0
    assert corrected_level(54.9, 40).correction > 0.0


def test_a_fan_in_a_quiet_room() -> None:
    # A fact of the trade: 49 dB(A) in a 35 dB(A) room needs a correction of about 0.2 dB (arithmetic by ISO 3744).
    got = corrected_level(49, 35)
    assert got.correction == pytest.approx(0.2, abs=0.03)
    assert got.level == pytest.approx(48.8, abs=0.03)
    assert not got.is_upper_bound


def test_below_six_decibels_is_an_upper_bound() -> None:
    # ISO 3744: below 6 dB the correction stays at its largest and the level is an upper bound.
    for level in (45.9, 41.0, 40.0, 38.0):
        got = corrected_level(level, 40)
        assert got.is_upper_bound
        assert got.correction == pytest.approx(1.26, abs=0.005)
        assert "upper bound" in got.note


def test_energy_mean() -> None:
    # ISO 3744: two equal levels give the same; 60 and 50 dB give 57.4 (10 lg 0.55 = -2.596 dB from the louder).
    assert mean_level([50.0, 50.0, 50.0]) == pytest.approx(50.0)
    assert mean_level([60.0, 50.0]) == pytest.approx(57.404, abs=5e-4)


def test_keyboard_temperatures() -> None:
    # ISO 13732-1 (from memory): 43 C for 8 h, 48 C for 10 min, 51 C for 1 min on uncoated metal.
    assert [threshold.celsius for threshold in judge(52.0).reached] == [43.0, 48.0, 51.0]
    assert 10.0 in [threshold.minutes for threshold in judge(50.5).reached]
    assert judge(30.0).reached == ()
    assert judge(43.0).reached[-1].minutes == 480.0
    assert judge(42.9).reached == ()
    assert "no medical judgement" in judge(52.0).caution
    assert "compliance" in judge(30.0).caution
