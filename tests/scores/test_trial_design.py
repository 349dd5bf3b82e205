"""The plan of a trial: complete blocks, each in a fresh order, the same from the same seed."""

from __future__ import annotations

from collections import Counter

import pytest

from surefoot.errors import BadInput
from surefoot.scores.design import Trial, design_says, strata_of

KEYS = ("a", "b", "c", "d")


def trial(**more: object) -> Trial:
    return Trial(**{"seed": 4, "configurations": KEYS, "blocks": 30, "strata": (tuple(range(4)),), **more})  # type: ignore[arg-type]


def test_every_block_holds_every_configuration_once_in_an_order_of_its_own() -> None:
    turns = trial().order()
    blocks = [[turn.configuration for turn in turns if turn.block == number] for number in range(1, 31)]
    assert all(sorted(block) == [0, 1, 2, 3] for block in blocks)
    assert len({tuple(block) for block in blocks}) > 12
    # Each configuration comes first about equally often: 30 blocks, 4 configurations, 7.5 each.
    firsts = Counter(block[0] for block in blocks)
    assert set(firsts) == {0, 1, 2, 3} and max(firsts.values()) <= 15


def test_a_seed_gives_one_order_and_a_longer_plan_begins_as_the_shorter() -> None:
    assert trial().order() == trial().order()
    assert trial().order() != trial(seed=5).order()
    assert trial(blocks=40).order()[:120] == trial(blocks=30).order()


def test_what_is_hard_to_change_is_nested_and_said_to_be_confounded() -> None:
    hard = ["stock", "pad", "stock", "pad"]
    nested = trial(strata=strata_of(hard), blocks=3)
    turns = nested.order()
    assert [turn.stratum for turn in turns] == [0] * 6 + [1] * 6
    assert {turn.block for turn in turns if turn.stratum} == {4, 5, 6}
    said = design_says(nested, KEYS, hard)
    assert "confounded" in said and "“stock”, then “pad”" in said
    assert "confounded" not in design_says(trial(), KEYS, [""] * 4)


@pytest.mark.parametrize(
    "wrong",
    [{"configurations": ("a",)}, {"configurations": ("a", "a", "b", "c")}, {"blocks": 1}, {"strata": ((0, 1),)}],
)
def test_a_plan_that_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        trial(**wrong)


def test_a_trial_without_looks_is_judged_once_and_one_with_looks_spends_little_early() -> None:
    plain, looked = trial(blocks=6), trial(blocks=6, early=True)
    assert plain.level(5, 3, 0.05) is None and plain.level(6, 3, 0.05) == 0.05
    assert trial(blocks=6, ended=True).level(5, 3, 0.05) == 0.05
    steps = [looked.level(blocks, 3, 0.05) for blocks in range(2, 7)]
    assert steps[0] is None
    given = [step for step in steps[1:] if step is not None]
    assert given == sorted(given) and given[0] < 0.005 and 0.03 < given[-1] <= 0.05
