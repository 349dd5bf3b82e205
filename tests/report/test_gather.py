"""From a journal to a comparison: what counts, what does not and is said."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.report.gather import comparison_of, equal_scores, gather, hottest
from surefoot.runs import Closing, Outcome, Purpose, Reading, RunPlan, Score, Trace
from surefoot.units import Conditions, Knob, Setting, Unit

UNIT = Unit(
    name="bench-a",
    knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),),
    ceilings_celsius={"cpu": 95},
    supply_watts=205,
)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.db") as opened:
        opened.add_unit(UNIT)
        yield opened


def held(
    journal: Journal,
    depth: float = 0,
    celsius: float | None = None,
    outcome: Outcome = Outcome.HELD,
    purpose: Purpose = "measure",
    channels: dict[str, np.ndarray] | None = None,
    **conditions: Any,
) -> int:
    plan = RunPlan(
        unit_name="bench-a",
        setting=Setting(values={"cpu-core": -depth}),
        load="mixed",
        planned_minutes=15,
        purpose=purpose,
        conditions=Conditions(**conditions),
        source="hand",
    )
    number = journal.log_run(plan, Closing(outcome=outcome, minutes=15, judged_by="the load"))
    seconds = np.arange(0.0, 900.0)
    found = dict(channels or {})
    if celsius is not None:
        found["cpu.temperature"] = celsius - (celsius - 30) * np.exp(-seconds / 60)
        found["cpu.power"] = np.full(900, 54.0)
    if found:
        journal.add_trace(number, Trace(np.arange(float(next(iter(found.values())).size)), found))
    return number


def test_traces_scores_and_readings_become_samples_of_their_configuration(journal: Journal) -> None:
    for celsius, points in ((88.0, 5120), (88.5, 5138), (87.5, 5102)):
        run = held(journal, 0, celsius, ambient_celsius=21.0)
        journal.add_score("bench-a", Score(name="render", value=points), run_id=run)
    for celsius, points in ((80.0, 5480), (80.5, 5498), (79.5, 5462)):
        run = held(journal, 95, celsius, ambient_celsius=25.0)
        journal.add_score("bench-a", Score(name="render", value=points), run_id=run)
    found = gather(journal, "bench-a")
    assert [one.name for one in found.configurations] == ["stock setting", "cpu-core -95 mV"]
    comparison = comparison_of(found)
    deep = found.configurations[1].key
    score = comparison.cell("render", deep)
    assert score is not None and score.gain is not None
    assert (score.verdict, round(score.gain.percent, 1)) == ("better", 7.0)
    cell = comparison.cell("cpu.temperature", deep)
    assert cell is not None and cell.gain is not None
    # 8 degrees less in a room 4 degrees warmer: 12 for one room.
    assert comparison.room_celsius == 23.0
    assert cell.gain.absolute == pytest.approx(-12.0, abs=0.3)
    assert comparison.cell("render per watt", deep) is not None
    as_measured = comparison_of(found, room=None).cell("cpu.temperature", deep)
    assert as_measured is not None and as_measured.gain is not None
    assert as_measured.gain.absolute == pytest.approx(-8.0, abs=0.3)
    assert {share.domain for share in comparison.limiters} <= {"cpu"}
    assert equal_scores(comparison)


def test_only_runs_that_ran_to_their_end_and_were_made_to_be_looked_at_count(journal: Journal) -> None:
    for outcome in (Outcome.RESET, Outcome.VOID, Outcome.OVERHEAT, Outcome.MISCOMPUTE):
        held(journal, 100, 99.0, outcome=outcome)
    held(journal, 50, 85.0, purpose="search")
    held(journal, 0, 88.0)
    found = gather(journal, "bench-a")
    assert [one.setting.describe() for one in found.comparable] == ["stock"]
    crashed = journal.runs("bench-a")[0]
    journal.add_score("bench-a", Score(name="render", value=1), run_id=crashed.id)
    assert any("did not run to its end" in text for text in gather(journal, "bench-a").problems)


def test_a_search_run_with_a_score_counts(journal: Journal) -> None:
    run = held(journal, 50, purpose="search")
    journal.add_score("bench-a", Score(name="render", value=3000), run_id=run)
    assert [one.name for one in gather(journal, "bench-a").comparable] == ["cpu-core -50 mV"]


def test_sound_is_corrected_and_an_upper_bound_marked(journal: Journal) -> None:
    run = held(journal)
    other = held(journal, 95)
    journal.add_reading("bench-a", Reading(kind="sound", value=49, background=35, place="ear"), run_id=run)
    journal.add_reading("bench-a", Reading(kind="sound", value=38, background=35, place="Ear"), run_id=other)
    found = gather(journal, "bench-a")
    assert [round(one.level.level, 1) for one in found.sounds] == [48.8, 36.7]
    row = comparison_of(found).row("sound.load.ear")
    assert row is not None
    assert [cell.at_most for cell in row.cells] == [False, True]
    assert row.cells[1].verdict == "upper bound"


def test_surfaces_are_judged_and_referred_to_the_room(journal: Journal) -> None:
    one, two = held(journal, ambient_celsius=20.0), held(journal, 95, ambient_celsius=24.0)
    for run, celsius in ((one, 52.0), (two, 48.0)):
        journal.add_reading("bench-a", Reading(kind="surface", value=celsius, place="keyboard"), run_id=run)
    found = gather(journal, "bench-a")
    assert [len(item.verdict.reached) for item in found.surfaces] == [3, 2]
    row = comparison_of(found).row("surface.load.keyboard")
    assert row is not None
    assert [cell.mean for cell in row.cells] == [54.0, 46.0]
    assert row.cells[1].verdict == "one run"


def test_supply_is_checked_against_the_card_and_the_battery(journal: Journal) -> None:
    run = held(journal, channels={"battery.charge": np.linspace(100, 96, 900)}, supply="adapter")
    journal.add_reading("bench-a", Reading(kind="wall-power", value=187), run_id=run)
    check = gather(journal, "bench-a").supply[0]
    assert (check.verdict, check.wall_watts, check.rated_watts) == ("battery drains", 187, 205)
    assert check.drain_percent_per_hour == pytest.approx(16.0, rel=0.01)


def test_a_battery_that_drains_on_battery_is_no_finding(journal: Journal) -> None:
    held(journal, channels={"battery.charge": np.linspace(100, 80, 900)}, supply="battery")
    assert gather(journal, "bench-a").supply == ()


def test_frame_logs_of_a_run_give_frame_rates_with_their_own_spread(journal: Journal) -> None:
    frames = np.random.default_rng(0).gamma(100, 0.1, 3000)
    plan = RunPlan(unit_name="bench-a", setting=Setting(), load="game", planned_minutes=1, purpose="game")
    run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=1, judged_by="by hand"))
    journal.add_trace(run, Trace(np.cumsum(frames) / 1000, {"frame.frame-time": frames}))
    comparison = comparison_of(gather(journal, "bench-a"))
    key = comparison.baseline
    cell = comparison.cell("fps", key)
    assert cell is not None
    assert cell.mean == pytest.approx(3000 / frames.sum() * 1000)
    assert cell.interval_from == "one log"
    assert comparison.cell("1 % low (percentile)", key) is not None


def test_frame_times_sampled_now_and_then_give_no_frame_rate(journal: Journal) -> None:
    held(journal, channels={"frame.frame-time": np.full(900, 10.0), "cpu.temperature": np.full(900, 80.0)})
    found = gather(journal, "bench-a")
    assert not [one for one in found.samples if one.metric.unit == "fps"]
    assert any("not every frame" in text for text in found.problems)


def test_a_score_of_a_configuration_needs_no_run(journal: Journal) -> None:
    key = "mode=evening;cooling=;setting=;load=;firmware="
    journal.name_configuration("bench-a", key, "silent", 1)
    for value in (2000, 2010):
        journal.add_score("bench-a", Score(name="render", value=value), configuration=key)
    journal.add_score("bench-a", Score(name="render", value=1), configuration="nobody knows")
    journal.add_score("bench-a", Score(name="render", value=1))
    found = gather(journal, "bench-a")
    assert [one.name for one in found.comparable] == ["silent"]
    assert comparison_of(found).cell("render", key).runs == 2  # type: ignore[union-attr]
    assert len(found.problems) == 2


def test_the_baseline_comes_along_with_those_wanted(journal: Journal) -> None:
    for depth in (0, 50, 95):
        held(journal, depth, 85.0 - depth / 10)
    found = gather(journal, "bench-a")
    assert len(comparison_of(found).configurations) == 3
    some = comparison_of(found, ["cpu-core -95 mV"], baseline="stock setting")
    assert [one.name for one in some.configurations] == ["stock setting", "cpu-core -95 mV"]
    turned = comparison_of(found, ["3", "1"])
    assert turned.configuration(turned.baseline).name == "cpu-core -95 mV"


def test_nothing_measured_is_said(journal: Journal) -> None:
    with pytest.raises(BadInput, match="surefoot measure"):
        comparison_of(gather(journal, "bench-a"))


def test_the_supply_is_held_to_the_most_that_was_drawn(journal: Journal) -> None:
    for watts in (150, 190, 160):
        run = held(journal, supply="adapter")
        journal.add_reading("bench-a", Reading(kind="wall-power", value=watts), run_id=run)
    (check,) = gather(journal, "bench-a").supply
    assert check.wall_watts == 190


def test_sound_is_compared_by_the_corrected_level(journal: Journal) -> None:
    run = held(journal)
    journal.add_reading("bench-a", Reading(kind="sound", value=43, background=37, place="ear"), run_id=run)
    (sample,) = [one for one in gather(journal, "bench-a").samples if one.metric.group == "sound"]
    # 6 dB above the background: 1.26 dB less (ECMA TR/107).
    assert sample.value == pytest.approx(43 - 1.26, abs=0.01)


def test_a_reading_of_a_configuration_has_a_room_only_where_its_runs_agree_on_one(journal: Journal) -> None:
    for depth, rooms in ((0.0, (20.0, 20.8)), (95.0, (20.0, 23.0))):
        for room in rooms:
            held(journal, depth, ambient_celsius=room)
    for one in gather(journal, "bench-a").configurations:
        journal.add_reading("bench-a", Reading(kind="surface", value=41, place="lid"), configuration=one.key)
    found = gather(journal, "bench-a")
    told = {one.configuration: one.ambient_celsius for one in found.samples if one.metric.group == "surface"}
    assert [told[one.key] for one in found.configurations] == [pytest.approx(20.4), None]


def test_a_part_that_heat_held_down_is_not_moved_to_another_room(journal: Journal) -> None:
    seconds = np.arange(0.0, 900.0)
    warm = 95 - 60 * np.exp(-seconds / 30)
    held_down = np.where(warm > 94, 3000.0, 4000.0)
    channels = {"cpu.temperature": warm, "cpu.clock": held_down, "cpu.busy": np.full(900, 100.0),
                "cpu.thermal-flag": (warm > 94).astype(float)}  # fmt: skip
    held(journal, channels=channels, ambient_celsius=21.0)
    found = gather(journal, "bench-a")
    share = next(one.shares["thermal"] for one in found.limiters if one.domain == "cpu")
    (sample,) = [one for one in found.samples if one.metric.name == "cpu.temperature"]
    assert share > 0.5 and sample.held_by_heat_share == pytest.approx(share, abs=0.01)


def test_the_hottest_reading_of_each_place_under_load(journal: Journal) -> None:
    run = held(journal)
    read: tuple[tuple[float, str, Literal["idle", "load"]], ...] = (
        (40, "lid", "load"), (44, "lid", "load"), (42, "lid", "load"), (50, "lid", "idle"), (31, "foot", "load")
    )  # fmt: skip
    for celsius, place, state in read:
        journal.add_reading("bench-a", Reading(kind="surface", value=celsius, place=place, state=state), run_id=run)
    found = hottest(gather(journal, "bench-a").surfaces)
    assert [(one.place, one.verdict.celsius) for one in found] == [("lid", 44), ("foot", 31)]
