"""Slips of measure: all times in seconds under a heading of minutes, volts for millivolts, a thousand or one."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime

import pytest

from surefoot.guide.outside import Told, length_is_bare, minutes_named, rows_told, told
from surefoot.guide.slips import slips
from surefoot.logs.hand_table import read_hand_table
from surefoot.logs.tables import read_table
from surefoot.runs import Outcome, Run
from surefoot.units import Knob, Unit

UNIT = Unit(name="bench", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 250),))
NOW = datetime(2031, 5, 6, 12, tzinfo=UTC)


def said(rows: str, head: str = "core mV;minutes;result") -> list[str]:
    found = read_hand_table(read_table(f"{head}\n{rows}".encode()), UNIT)
    runs, problems = rows_told(UNIT, found.rows, lambda at: None)
    assert not problems and not found.problems
    return ["; ".join(doubts) for doubts in slips(UNIT, runs, [], NOW)]


def one(value: float, minutes: str) -> Told:
    return told(
        UNIT, {"cpu-core": value}, Outcome.HELD, minutes_named(minutes), then=None,
        bare_length=length_is_bare(minutes),
    )  # fmt: skip


def logged(*runs: Told) -> list[Run]:
    return [
        Run(id=number, opened_at=NOW, plan=run.plan, closed_at=NOW, closing=run.closing)
        for number, run in enumerate(runs, start=1)
    ]


SECONDS = "0;300;ok\n-20;600;ok\n-40;600;ok\n-60;600;ok\n-70;92;crash\n"


def test_a_column_of_seconds_under_minutes_is_asked_about_without_any_date() -> None:
    doubts = said(SECONDS)
    assert all("35 hours in all" in text for text in doubts[:4])
    assert doubts[4] == ""  # a failure is never left out for it


def test_minutes_under_a_heading_of_hours_are_asked_about() -> None:
    assert sum(" hours in all" in text for text in said("0;5;ok\n-20;10;ok\n-40;10;ok\n", "core mV;hours;result")) == 3


@pytest.mark.parametrize(
    "rows",
    [
        "0;5;ok\n-20;10;ok\n-40;10;ok\n-45;480;ok\n-60;3;crash\n",  # rungs, and a night at the end
        "0;60;ok\n-20;60;ok\n-40;60;ok\n",  # an hour each
        "0;5 h;ok\n-20;10 h;ok\n-40;10 h;ok\n",  # the cells say it themselves
        "-40;480;ok\n-45;480;ok\n",  # two nights
    ],
)
def test_what_people_keep_is_not_asked_about(rows: str) -> None:
    assert not any(said(rows))


def test_one_by_one_it_is_asked_about_until_three_stand() -> None:
    first, second, third, fourth = (one(value, "600") for value in (0, -20, -40, -60))
    assert slips(UNIT, [second], logged(first), NOW) == [()]
    assert "30 hours in all" in slips(UNIT, [third], logged(first, second), NOW)[0][0]
    assert slips(UNIT, [one(-40, "10 h")], logged(first, second), NOW) == [()]
    assert slips(UNIT, [fourth], logged(first, second, third), NOW) == [()]


def test_volts_among_millivolts() -> None:
    doubts = said("0;10;ok\n-0.05;10;ok\n-0.07;2;crash\n")
    assert "less than half a step of 5 mV" in doubts[1] and doubts[2] == ""
    assert not any(said("0;10;ok\n-3;10;ok\n"))


@pytest.mark.parametrize("text", ["1,000", "2.500"])
def test_a_thousand_or_one(text: str) -> None:
    doubts = said(f"0;10;ok\n-20;{text};ok\n")
    assert "is either" in doubts[1]


def test_a_long_column_that_was_not_bare_is_none() -> None:
    """The rule is of numbers without a unit alone."""
    runs = [dataclasses.replace(one(value, "600"), bare_length=False) for value in (0, -20, -40)]
    assert slips(UNIT, runs, [], NOW) == [(), (), ()]
