"""Runs told by the user: what was understood becomes a run, and what looks like a slip is named."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from surefoot.errors import BadInput
from surefoot.guide.outside import Told, minutes_named, moment_of, outcome_named, rows_told, told, values_of
from surefoot.guide.slips import slips
from surefoot.logs.hand_table import HandRow
from surefoot.runs import Closing, Outcome, Run, RunPlan
from surefoot.units import Conditions, Knob, Setting, Unit

UNIT = Unit(
    name="shoebox-3",
    firmware="1.20",
    cooling="new paste",
    knobs=(
        Knob("cpu-core", "cpu", "mV", "down", 5, 250),
        Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core"),
        Knob("gpu-core", "gpu", "MHz", "up", 15, 300),
    ),
)
NOW = datetime(2031, 5, 6, 12, tzinfo=UTC)


def test_values_typed_on_the_command_line() -> None:
    assert values_of(UNIT, {"cpu-core": "95"}) == {"cpu-core": -95}
    assert values_of(UNIT, {"cpu-core": "-95 mV", "gpu-core": "+120"}) == {"cpu-core": -95, "gpu-core": 120}
    assert values_of(UNIT, {"cpu-core": "-0.095 V", "gpu-core": "0,12 GHz"}) == {"cpu-core": -95, "gpu-core": 120}
    for wrong in ({"cpu-core": "+95"}, {"gpu-core": "-15"}, {"ghost": "1"}, {"cpu-core": "1.2.3"}, {"gpu-core": "9 W"}):
        with pytest.raises(BadInput):
            values_of(UNIT, wrong)


def test_dates() -> None:
    assert moment_of("2026-03-01T10:00:00+00:00", "x") == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert moment_of("4 Mar 2026 09:30Z", "x") == datetime(2026, 3, 4, 9, 30, tzinfo=UTC)
    assert moment_of("", "x") is None
    with pytest.raises(BadInput, match="the date 'yesterday'"):
        moment_of("yesterday", "x")
    with pytest.raises(BadInput, match="it may be month first"):
        moment_of("3/4/2026", "x")
    assert moment_of("3/4/2026 00:00Z", "x", day_first=False) == datetime(2026, 3, 4, tzinfo=UTC)
    for year in ("0001-01-01", "9999-12-31T23:59"):
        with pytest.raises(BadInput, match="the year of"):
            moment_of(year, "x")


def test_an_outcome_typed_must_be_sure() -> None:
    assert outcome_named("did not pass") is Outcome.RESET
    for text in ("no", "banana", "almost stable", "done"):
        with pytest.raises(BadInput, match="Write one of: held"):
            outcome_named(text)


def test_minutes_typed_must_be_sure() -> None:
    assert (minutes_named("90"), minutes_named("1.5 h"), minutes_named("2h")) == (90, 90, 120)
    for text in ("0:30", "long", ""):
        with pytest.raises(BadInput, match="Write minutes"):
            minutes_named(text)


def test_impossible_minutes() -> None:
    for minutes in (-1.0, float("nan"), float("inf"), 1e9):
        with pytest.raises(BadInput):
            told(UNIT, {}, Outcome.HELD, minutes, then=None)


def test_linked_knobs_move_along() -> None:
    assert told(UNIT, {"cpu-core": -50}, Outcome.HELD, 5, then=None).plan.setting == Setting(
        values={"cpu-core": -50, "cpu-cache": -50}
    )


def test_a_run_takes_the_card_as_it_was_then_or_nothing() -> None:
    old = UNIT.model_copy(update={"firmware": "1.02", "cooling": "old paste"})
    revised = NOW - timedelta(days=10)
    rows = [
        HandRow(2, {"cpu-core": -10.0}, Outcome.HELD, 30, NOW - timedelta(days=60)),
        HandRow(3, {"cpu-core": -10.0}, Outcome.HELD, 30, NOW - timedelta(days=1)),
        HandRow(4, {"cpu-core": -10.0}, Outcome.HELD, 30, NOW - timedelta(days=900)),
        HandRow(5, {"cpu-core": -10.0}, Outcome.HELD, 30),
    ]

    def card_at(at: datetime) -> Unit | None:
        return UNIT if at >= revised else old if at > NOW - timedelta(days=100) else None

    found, problems = rows_told(UNIT, rows, card_at)
    assert problems == []
    seen = [(one.plan.conditions.firmware, one.plan.conditions.cooling) for one in found]
    assert seen == [("1.02", "old paste"), ("1.20", "new paste"), (None, None), (None, None)]


def one(value: float, outcome: Outcome = Outcome.HELD, minutes: float = 30, at: datetime | None = None) -> Told:
    return told(UNIT, {"cpu-core": value}, outcome, minutes, then=None, at=at)


def before(*runs: tuple[float, Outcome], firmware: str | None = None) -> list[Run]:
    return [
        Run(
            id=number,
            opened_at=NOW - timedelta(days=30, hours=-number),
            plan=RunPlan(
                unit_name=UNIT.name,
                setting=Setting(values={"cpu-core": value}),
                load="cpu",
                planned_minutes=30,
                source="rig",
                conditions=Conditions(firmware=firmware),
            ),
            closed_at=NOW,
            closing=Closing(outcome=outcome, minutes=30, judged_by="x"),
        )
        for number, (value, outcome) in enumerate(runs, start=1)
    ]


def said(run: Told, earlier: list[Run]) -> str:
    return "; ".join(slips(UNIT, [run], earlier, NOW)[0])


def test_what_looks_like_a_slip_is_named() -> None:
    crashes = before((-60, Outcome.RESET), (-60, Outcome.RESET), (-60, Outcome.RESET))
    assert "past the card's limit of -250 mV" in said(one(-300), crashes)
    assert "held deeper than cpu-core -60 mV, which failed (run 1, reset)" in said(one(-65), crashes)
    assert "far past what ever held (stock)" in said(one(-120), [])
    assert "far past what ever held (-50 mV)" in said(one(-120, Outcome.RESET), before((-50, Outcome.HELD)))
    assert "still to come" in said(one(-10, at=NOW + timedelta(days=1)), [])
    assert "50 hours" in said(one(-10, minutes=3000), [])


def test_what_is_usual_is_taken() -> None:
    held = before((-40, Outcome.HELD), (-70, Outcome.HELD))
    for run in (one(-50), one(-100), one(-100, Outcome.RESET), one(-75, at=NOW), one(-40, minutes=600)):
        assert said(run, held) == ""
    assert said(one(-60), before((-50, Outcome.HELD), (-60, Outcome.RESET))) == "", "the same setting may fail and hold"
    assert "held deeper" in said(one(-65), before((-60, Outcome.RESET), firmware="1.02")), (
        "no firmware is known of the new one"
    )
    newer = told(UNIT, {"cpu-core": -65}, Outcome.HELD, 30, then=UNIT)
    assert "held deeper" not in said(newer, before((-60, Outcome.RESET), firmware="1.02")), (
        "another firmware moved the edge"
    )


def test_a_slip_does_not_vouch_for_its_like() -> None:
    found = slips(UNIT, [one(-20), one(-200), one(-200, minutes=31)], [], NOW)
    assert found[0] == () and all("far past" in text[0] for text in found[1:])


def test_the_same_run_told_twice_is_noticed() -> None:
    at = NOW - timedelta(days=2)
    pairs = [
        (one(-40), one(-40)),
        (one(-40, at=at), one(-40, at=at)),
        (one(-40, at=at), one(-40, at=at + timedelta(minutes=9))),
    ]
    for first, second in pairs:
        assert [bool(texts) for texts in slips(UNIT, [first, second], [], NOW)] == [False, True]
    for first, second in [(one(-40, at=at), one(-40, at=at + timedelta(hours=3))), (one(-40), one(-40, minutes=31))]:
        assert slips(UNIT, [first, second], [], NOW) == [(), ()]


def test_a_hold_longer_than_there_was_time_is_named() -> None:
    """A date may be when a run began or when it was written down, so both ways must fail."""
    at = NOW - timedelta(days=2)

    def times(*runs: tuple[float, float], outcome: Outcome = Outcome.HELD) -> list[str]:
        rows = [
            told(
                UNIT, {"cpu-core": -10.0 * n}, outcome, minutes, then=None, at=at + timedelta(minutes=start), line=n + 2
            )
            for n, (start, minutes) in enumerate(runs)
        ]
        return ["; ".join(texts) for texts in slips(UNIT, rows, [], NOW)]

    assert times((0, 30), (60, 300), (120, 30), (180, 30)) == [
        "", "it lasted 300 min, and the next run began 60 min later", "", "",
    ]  # fmt: skip
    assert not any(times((0, 30), (35, 30), (70, 30))), "one after the other"
    assert not any(times((0, 30), (400, 300), (405, 5))), "written down when it was over"
    assert not any(times((0, 30), (60, 300), (120, 30), outcome=Outcome.RESET)), "a failure is never left out for it"
    whole = times((0, 10), (60, 600), (120, 600), (180, 600), (240, 600), (2000, 30))
    assert all("lasted" in text for text in whole[1:4]) and "are these minutes?" in whole[5]


def test_runs_of_one_day_come_to_no_more_than_a_day() -> None:
    day = NOW - timedelta(days=2)
    rows = [
        told(UNIT, {"cpu-core": -10.0 * n}, Outcome.HELD, 500, then=None, at=day, whole_day=True, line=n)
        for n in range(1, 4)
    ]
    assert all("come to 25 hours" in text for (text,) in slips(UNIT, rows, [], NOW))
    assert slips(UNIT, rows[:2], [], NOW) == [(), ()]
