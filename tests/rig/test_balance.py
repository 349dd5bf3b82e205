"""What each load gets beside the others, and who gives way."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.rig.loads.balance import LEAST_DUTY, Share, new_duties, relative_pace, work_between

BEFORE = [{"dense": {"matrix": [10.0, 1.0, 3]}}, {}]
AFTER = [{"dense": {"matrix": [30.0, 3.0, 9]}}, {"dense": {"matrix": [5.0, 1.0, 2]}, "light": {"chain": [1.0, 1.0, 1]}}]


def test_work_between_two_looks_is_that_of_all_workers():
    assert work_between(BEFORE, AFTER) == {("dense", "matrix"): (25.0, 3.0), ("light", "chain"): (1.0, 1.0)}


def test_pace_is_told_on_the_same_kind_of_work_only():
    alone = {("dense", "matrix"): (100.0, 10.0), ("full", "digest"): (7.0, 1.0)}
    assert relative_pace(alone, {("dense", "matrix"): (40.0, 8.0), ("light", "chain"): (1.0, 9.0)}) == pytest.approx(
        0.5
    )
    assert relative_pace(alone, {("light", "chain"): (1.0, 9.0)}) is None
    assert relative_pace({}, {}) is None


def test_the_one_that_keeps_most_gives_way_to_the_one_that_starves():
    duties = new_duties([Share("gpu", 0.95, 1.0), Share("cpu", 0.3, 1.0), Share("memory", 0.6, 1.0)])
    assert duties == {"gpu": 0.9, "cpu": 1.0, "memory": 1.0}


def test_who_gave_way_gets_it_back_when_nobody_starves():
    assert new_duties([Share("gpu", 0.9, 0.7), Share("cpu", 0.7, 1.0)]) == {"gpu": pytest.approx(0.8), "cpu": 1.0}
    # In between nothing is moved, so that the duties do not swing.
    assert new_duties([Share("gpu", 0.9, 0.7), Share("cpu", 0.55, 1.0)]) == {"gpu": 0.7, "cpu": 1.0}
    assert new_duties([Share("gpu", None, 1.0), Share("cpu", None, 1.0)]) == {"gpu": 1.0, "cpu": 1.0}


shares = st.lists(st.tuples(st.none() | st.floats(0, 2), st.floats(LEAST_DUTY, 1)), min_size=1, max_size=4).map(
    lambda found: [Share(f"part {number}", pace, duty) for number, (pace, duty) in enumerate(found)]
)


@given(shares)
def test_nobody_is_ever_put_to_rest_and_at_most_one_is_moved(found):
    duties = new_duties(found)
    assert all(LEAST_DUTY <= duty <= 1 for duty in duties.values())
    assert sum(duties[share.name] != share.duty for share in found) <= 1
