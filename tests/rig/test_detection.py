"""Known detection: faults put in on purpose over all phases. A share here, a thousand with ``-m long``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from detection import flips, session, slowed

from surefoot.rig.loads.processors import allowed_processors

two = pytest.mark.skipif(len(allowed_processors()) < 2, reason="needs two processors")


def test_a_share_of_the_thousand_is_told_in_its_place():
    put_in, told, right, _ = flips(10, 20.0)
    assert put_in >= 10
    assert told == right == put_in


@pytest.mark.long
def test_a_thousand_flipped_bits_are_told_within_two_seconds_in_their_place():
    put_in, told, right, latest = flips(1000, 1500.0)
    assert put_in >= 1000
    assert told == right == put_in
    assert latest < 2.0


@pytest.mark.long
@two
def test_workers_that_are_gone_or_stuck_or_slowed_are_told_apart():
    assert all(good for _, good, _ in map(session, range(24)))
    assert all(good for good, _ in map(slowed, range(4)))
