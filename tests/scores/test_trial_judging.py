"""What a trial's runs say, and what runs taken one after the other do not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.runs import Score
from surefoot.scores.block_spreads import stand_apart
from surefoot.scores.blocks import within_blocks
from surefoot.scores.comparison import REAL, Comparison, compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.design import Trial
from surefoot.scores.drift import against_drift, drift_tests, how_taken
from surefoot.scores.independent import judged_one_after_the_other
from surefoot.scores.judging import Value, judge
from surefoot.scores.many_to_one import tail
from surefoot.scores.metrics import Sample, of_score
from surefoot.scores.power import adjusted_many, blocks_for, power, would_show
from surefoot.scores.spending import levels, looks, spent
from surefoot.units import Setting

POINTS = of_score(Score(name="render", value=1))


def configurations(many: int) -> list[Configuration]:
    made = []
    for number in range(many):
        setting = Setting(values={"cpu-core": -10.0 * number})
        key = key_of(Parts(None, None, setting, "mixed", None))
        made.append(Configuration(key, f"c{number}", f"c{number}", None, None, None, setting, "mixed", None))
    return made


def in_blocks(values: np.ndarray, plan: Trial | None = None, seed: int = 0) -> Comparison:
    """Values (blocks, configurations) as the samples of one trial, each block in a random order."""
    blocks, many = values.shape
    found = configurations(many)
    rng, samples, at = np.random.default_rng(seed), [], 0
    for block in range(blocks):
        for which in rng.permutation(many):
            at += 1
            samples.append(
                Sample(
                    POINTS, found[which].key, float(values[block, which]), at, at=float(at), trial=1, block=block + 1
                )
            )
    return compare(found, samples, trials=(replace(plan, configurations=tuple(c.key for c in found)),) if plan else ())


def one_after_the_other(values: np.ndarray, room: np.ndarray | None = None) -> Comparison:
    """Values (configurations, repeats) as runs of one configuration after the other."""
    many, repeats = values.shape
    found = configurations(many)
    samples = []
    for which in range(many):
        for turn in range(repeats):
            at = which * repeats + turn
            warm = None if room is None else float(room.ravel()[at])
            samples.append(Sample(POINTS, found[which].key, float(values[which, turn]), at, warm, at=float(at)))
    return compare(found, samples)


def any_real(got: Comparison) -> bool:
    return any(cell.verdict in REAL for row in got.rows for cell in row.cells)


def test_a_steep_drift_hides_nothing_from_a_trial_and_makes_nothing_up() -> None:
    rng = np.random.default_rng(8)
    order = np.arange(20).reshape(5, 4)
    values = 3000 + 5.0 * order + rng.normal(0, 30, (5, 4))
    assert not any_real(in_blocks(values))
    # Blocks far apart, as on another day: what is between blocks is no error.
    values = 3000 + 400.0 * np.arange(5)[:, None] + rng.normal(0, 10, (5, 4))
    values[:, 2] += 60
    got = in_blocks(values)
    assert [cell.verdict for cell in got.rows[0].cells] == ["baseline", "not shown", "better", "not shown"]
    cell = got.rows[0].cells[2]
    assert cell.taken == "in blocks" and cell.gain is not None and (cell.gain.method, cell.gain.blocks) == ("blocks", 5)
    assert cell.gain.low < 60 < cell.gain.high
    assert any("5 randomised blocks" in words for words in got.taken)


def test_the_same_drift_one_after_the_other_is_called_drift() -> None:
    rng = np.random.default_rng(9)
    values = 3000 + 20.0 * np.arange(10).reshape(2, 5) + rng.normal(0, 10, (2, 5))
    cell = one_after_the_other(values).rows[0].cells[1]
    assert cell.verdict == "drifted" and not cell.is_real and cell.taken == "one after the other"
    assert cell.drift is not None and cell.drift.order_p < 0.05 and cell.drift.per_run == pytest.approx(20, abs=5)
    assert cell.gain is not None and cell.gain.low < 0 < cell.gain.high and cell.gain.drift_p > 0.05
    # A gain that no such drift explains stays one.
    values[1] += 900
    assert one_after_the_other(values).rows[0].cells[1].verdict == "better"


def test_a_room_that_warms_explains_a_loss() -> None:
    rng = np.random.default_rng(10)
    room = np.array([20, 20.5, 21, 20.2, 21.2, 24, 24.5, 25, 25.5, 24.8]).reshape(2, 5)
    values = 3000 - 25 * (room - 20) + rng.normal(0, 8, (2, 5))
    cell = one_after_the_other(values, room).rows[0].cells[1]
    assert cell.verdict == "drifted" and cell.drift is not None
    assert cell.drift.room_p < 0.05 and cell.drift.per_degree == pytest.approx(-25, abs=12)


def test_what_cannot_be_seen_to_drift_is_not_said_to_have_drifted() -> None:
    values = np.array([[3000, 3010, 2990.0], [3040, 3052, 3046.0]])
    cell = one_after_the_other(values).rows[0].cells[1]
    assert cell.verdict == "could drift"
    typed = [Sample(POINTS, one.key, v) for one, row in zip(configurations(2), values, strict=True) for v in row]
    got = compare(configurations(2), typed)
    assert got.rows[0].cells[1].taken == "order not known"
    assert any("not known" in words for words in got.taken)


@pytest.mark.parametrize("shape", ["normal", "skewed", "outliers"])
def test_runs_of_one_drift_are_rarely_called_different_however_taken(shape: str) -> None:
    rng = np.random.default_rng(11)
    found = {"blocks": 0, "after": 0}
    count = 150
    for _ in range(count):
        noise = rng.normal(0, 30, 20)
        if shape == "skewed":
            noise = 30 * (rng.exponential(size=20) - 1)
        elif shape == "outliers":
            noise *= np.where(rng.random(20) < 0.1, 5, 1)
        drifting = 3000 + 8.0 * np.arange(20) + noise
        found["after"] += any_real(one_after_the_other(drifting.reshape(4, 5)))
        values = np.empty((5, 4))
        for block in range(5):
            values[block, rng.permutation(4)] = drifting[4 * block : 4 * block + 4]
        found["blocks"] += any_real(in_blocks(values))
    # 5 % and two standard errors of 150; the benchmark measures it closely.
    assert max(found.values()) / count <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / count)


UNEQUAL = {
    "the baseline thrice": lambda many: np.r_[3.0, np.ones(many - 1)],
    "the baseline half as much again": lambda many: np.r_[1.5, np.ones(many - 1)],
    "another one thrice": lambda many: np.r_[np.ones(many - 1), 3.0],
    "the baseline least": lambda many: np.linspace(0.5, 2, many),
    "the baseline most": lambda many: np.linspace(2, 0.5, many),
}


@pytest.mark.parametrize("which", UNEQUAL)
@pytest.mark.parametrize("shape", [(3, 4), (5, 3), (5, 8), (8, 5)])
def test_unequal_spreads_make_nothing_up(which: str, shape: tuple[int, int]) -> None:
    blocks, many = shape
    rng = np.random.default_rng(12)
    wrong = (adjusted_many(rng.normal(size=(8000, blocks, many)) * UNEQUAL[which](many)) <= 0.05).any(axis=1).mean()
    # At most 6 %, the benchmark's measure over all cases; and two standard errors of 8,000.
    assert wrong <= 0.06 + 2 * math.sqrt(0.06 * 0.94 / 8000)


def test_a_baseline_that_varies_more_is_compared_by_its_own_spread() -> None:
    rng = np.random.default_rng(24)
    table = rng.normal(size=(8, 5)) * np.r_[6.0, np.ones(4)]
    found = within_blocks(table)
    # Its own variance and the others', each from residuals of their own: the exact expression, by least squares.
    against = table[:, 0] - table[:, 1:].mean(axis=1)
    others = table[:, 1:] - table[:, 1:].mean(axis=1, keepdims=True)
    others = others - others.mean(axis=0)
    variance = against.var(ddof=1) + 0.75 * np.sum(others**2) / (7 * 3)
    assert found.errors == pytest.approx(math.sqrt(variance / 8)) and np.all((found.degrees >= 7) & (found.degrees < 9))
    # The differences share the baseline's error, so less must be allowed for their number than for four apart.
    assert found.reaches[0].share == 0.9 and found.adjusted.min() < 2.2 * found.p_values.min()


def test_one_that_stands_apart_from_all_is_not_blamed_on_a_baseline_that_varies_more() -> None:
    """What a baseline does, it does to all differences alike: one that differs from the others too is its own doing."""
    table = np.random.default_rng(24).normal(size=(8, 5)) * np.r_[2.5, np.ones(4)]
    table -= table.mean(axis=0)
    # Alike in what the residuals say; all differ from the baseline, or one of them from everything.
    alike, one = table.copy(), table.copy()
    alike[:, 1:] += 4.0
    one[:, 2] += 4.0
    by_baseline, alone = within_blocks(alike), within_blocks(one)
    assert by_baseline.errors[1] > 1.3 * alone.errors[1] and by_baseline.degrees[1] < 12 < alone.degrees[1]
    assert alone.errors[1] == pytest.approx(math.sqrt(2 / 8) * alone.spread) and alone.degrees[1] == 28
    # The others, which do not stand apart, are held to the baseline's own spread all the same.
    assert alone.errors[0] == pytest.approx(by_baseline.errors[0])


def test_standing_apart_is_asked_only_of_what_is_left_to_judge() -> None:
    differences = np.array([[9.0, 8.9, 0.2, -0.1], [9.0, 0.1, 0.2, -0.1], [-9.0, 9.0, 0.1, 0.0], [3.0, 3.1, 3.0, 2.9]])
    order = np.argsort(-np.abs(differences), axis=1, kind="stable")
    found = stand_apart(differences, order, np.ones(4), 5)
    # 9.0 has one beside it that is like it, 8.9 has none left like it; what lies on both sides stands apart on each.
    assert found.tolist() == [
        [True, True, False, False],
        [True, False, False, False],
        [True, True, False, False],
        [False] * 4,
    ]
    # 2.8 standard errors of one against three: not by chance once, but for four to choose from it may be.
    edge = np.array([[1.9, 0.0, 0.0, 0.0]])
    assert not stand_apart(edge, np.arange(4)[None], np.ones(1), 4).any()
    assert stand_apart(3 * edge, np.arange(4)[None], np.ones(1), 4).tolist() == [[True, False, False, False]]


@pytest.mark.parametrize("many", [5, 8])
def test_a_real_2_percent_is_found_as_often_as_promised(many: int) -> None:
    """The measure: 0.6 with five blocks, 0.9 with eight, at 1 % spread; less two standard errors of what is played."""
    assert power(5, many, 2, 1).chance >= 0.6 - 2 * 0.0077
    assert power(8, many, 2, 1).chance >= 0.9 - 2 * 0.0047


def test_what_really_differs_lets_nothing_pass_with_it() -> None:
    rng = np.random.default_rng(31)
    for real, by in ((1, 2.0), (3, 4.0), (6, 2.0)):
        table = rng.normal(size=(6000, 5, 8))
        table[:, :, 1 : 1 + real] += by
        wrong = (adjusted_many(table)[:, real:] <= 0.05).any(axis=1).mean()
        assert wrong <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 6000)


def test_a_trial_that_goes_on_is_not_judged_and_one_that_looks_is_judged_strictly() -> None:
    rng = np.random.default_rng(13)
    plan = Trial(1, ("x", "y", "z"), 8, ((0, 1, 2),), number=1)
    values = 3000 + rng.normal(0, 10, (4, 3))
    values[:, 1] += 90
    assert in_blocks(values, plan).rows[0].cells[1].verdict == "unfinished"
    assert in_blocks(values, replace(plan, ended=True)).rows[0].cells[1].verdict == "better"
    early = replace(plan, early=True)
    assert in_blocks(values, early).rows[0].cells[1].verdict == "better"
    values[:, 1] -= 35
    # Enough at 5 %, not enough for an early look.
    assert in_blocks(values, replace(plan, ended=True)).rows[0].cells[1].verdict == "better"
    assert in_blocks(values, early).rows[0].cells[1].verdict == "not shown"


def test_incomplete_blocks_and_runs_outside_of_them_are_left_out_of_the_difference() -> None:
    values = 3000 + np.random.default_rng(14).normal(0, 10, (5, 3))
    found = configurations(3)
    samples = [
        Sample(POINTS, found[c].key, float(values[b, c]), 3 * b + c, at=float(3 * b + c), trial=1, block=b + 1)
        for b in range(5)
        for c in range(3)
        if (b, c) != (4, 0)
    ]
    samples.append(Sample(POINTS, found[1].key, 5000.0, 99, at=99.0))
    cell = compare(found, samples).rows[0].cells[1]
    assert cell.gain is not None and cell.gain.blocks == 4
    assert cell.gain.absolute == pytest.approx((values[:4, 1] - values[:4, 0]).mean())
    assert cell.notes[-1].startswith("judged by 4 blocks")


def test_lows_in_a_trial_are_resampled_by_block() -> None:
    rng = np.random.default_rng(15)
    day = 300 * np.arange(9)[:, None]
    values = day + rng.normal(0, 2, (9, 3)) + np.array([0, 8, 0])
    got = within_blocks(values, bootstrap=True)
    assert got.method == "block bootstrap" and got.adjusted[0] < 0.01 < 0.05 < got.adjusted[1]
    assert within_blocks(values[:7], bootstrap=True).method == "blocks"


def test_stated_power_is_what_trials_do() -> None:
    rng = np.random.default_rng(16)
    played = adjusted_many(rng.standard_normal((3000, 5, 4)) + np.array([0, 0, 0, 2.0]))[:, -1] <= 0.05
    assert power(5, 4, 2, 1).chance == pytest.approx(played.mean(), abs=0.05)
    # The aim, 0.6 with five blocks and 0.9 with eight, holds for two and three configurations; with more of them a test
    # that unequal spreads cannot fool finds somewhat less (README).
    assert all(power(5, many, 2, 1).chance >= 0.6 and power(8, many, 2, 1).chance >= 0.9 for many in (2, 3))
    assert power(5, 4, 2, 1).chance >= 0.6 and power(8, 4, 2, 1).chance >= 0.88
    need = blocks_for(4, 2, 1)
    assert need is not None and need.chance >= 0.8 > power(need.blocks - 1, 4, 2, 1).chance
    assert blocks_for(4, 0.1, 1) is None
    sooner = power(8, 4, 3, 1, early=True)
    assert sooner.mean_blocks < 6 and sooner.chance > 0.95
    with pytest.raises(BadInput):
        power(5, 4, 2, 0)


def test_many_at_once_are_judged_as_one_by_one() -> None:
    rng = np.random.default_rng(17)
    for shape in ((3, 4), (6, 3), (9, 7), (5, 2)):
        tables = rng.normal(size=(25, *shape)) * np.linspace(0.6, 2, shape[1]) + np.r_[np.zeros(shape[1] - 1), 2]
        alone = np.array([within_blocks(table).adjusted for table in tables])
        assert adjusted_many(tables) == pytest.approx(alone, rel=0.06, abs=1e-4)


def test_many_taken_one_after_the_other_are_judged_as_one_by_one() -> None:
    rng = np.random.default_rng(25)
    for many, repeats in ((2, 4), (3, 5), (5, 3)):
        sides = rng.normal(size=(12, many, repeats)) * np.linspace(0.6, 2, many)[:, None]
        sides[:, -1] += np.linspace(0, 9, 12)[:, None]
        room = 21 + 0.5 * rng.normal(size=sides.shape)
        adjusted, drifts = judged_one_after_the_other(sides, room)
        for place, (runs, warm) in enumerate(zip(sides, room, strict=True)):
            values = [
                [
                    Value(float(v), at=float(repeats * which + turn), room=float(warm[which, turn]))
                    for turn, v in enumerate(row)
                ]
                for which, row in enumerate(runs)
            ]
            alone = judge(values[0], {str(i): side for i, side in enumerate(values[1:])}, alpha=0.05, trials={})
            assert adjusted[place] == pytest.approx([one.adjusted for one in alone.values()], rel=0.06, abs=1e-4)
            assert drifts[place] == pytest.approx([one.drift_p for one in alone.values()], rel=1e-6, nan_ok=True)


def test_the_smallest_difference_that_would_have_shown_shows_four_times_in_five() -> None:
    rng = np.random.default_rng(18)
    error = math.sqrt(2 / 6)
    least = would_show(error, 5, 0.05)
    shown = [within_blocks(rng.standard_normal((6, 2)) + np.array([0, least])).p_values[0] <= 0.05 for _ in range(600)]
    assert np.mean(shown) == pytest.approx(0.8, abs=0.05)


@pytest.mark.parametrize("many", [2, 3, 4])
def test_looks_spend_the_chance_of_error_once(many: int) -> None:
    rng = np.random.default_rng(19)
    blocks, count = 7, 20_000
    tables = rng.standard_normal((count, blocks, many))
    passed = np.zeros(count, dtype=bool)
    for look in looks(blocks):
        passed |= adjusted_many(tables[:, :look]).min(axis=1) <= levels(blocks, many - 1)[look]
    assert passed.mean() <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / count)
    assert spent(1.0) == pytest.approx(0.05) and spent(0.3) < 0.001


def test_how_runs_were_taken_is_told_from_their_order() -> None:
    assert how_taken([0, 1, 2, 1, 0, 2]) == "in turns"
    assert how_taken([0, 0, 0, 1, 1, 1]) == "one after the other"
    assert how_taken([0, 0, 0]) == ""


def test_drift_is_seen_where_it_is_and_not_where_it_is_not() -> None:
    rng = np.random.default_rng(20)
    groups = [0] * 8 + [1] * 8
    still = [drift_tests(rng.normal(size=16), groups).seen for _ in range(100)]
    # Two tests at 5 % each.
    assert np.mean(still) < 0.2
    wander = np.repeat(rng.normal(size=8), 4) + rng.normal(0, 0.1, 32)
    assert drift_tests(wander, [0] * 16 + [1] * 16).neighbours_p < 0.01
    step = np.where(np.array(groups) == 1, 50.0, 0.0)
    noise = rng.normal(size=16)
    assert drift_tests(step + noise, groups).order_p == pytest.approx(drift_tests(noise, groups).order_p), (
        "a gain is no drift"
    )
    assert against_drift(step[:3], [0, 1, 1]).p_values[0] == 1


def test_the_largest_of_several_is_rarer_than_their_sum_and_commoner_than_one() -> None:
    assert tail(2.5, 1, 10) < tail(2.5, 3, 10) < 3 * tail(2.5, 1, 10)
    assert tail(2.5, 3, 10, [0.5, 0.5, 0.5]) == tail(2.5, 3, 10)
