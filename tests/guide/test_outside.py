"""Runs told by the user: words, tables, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.guide.outside import match_columns, moment_of, outcome_of, rows_told, told, values_of
from surefoot.runs import Outcome
from surefoot.units import Knob, Setting, Unit

UNIT = Unit(
    name="shoebox-3",
    knobs=(
        Knob("cpu-core", "cpu", "mV", "down", 5, 250),
        Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core"),
        Knob("gpu-core", "gpu", "MHz", "up", 15, 300),
    ),
)


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("held", Outcome.HELD),
        ("Pass", Outcome.HELD),
        ("stable", Outcome.HELD),
        ("not stable", Outcome.RESET),
        ("unstable!", Outcome.RESET),
        ("Blue screen after a while", Outcome.RESET),
        ("driver crashed", Outcome.DRIVER_RESET),
        ("driver-reset", Outcome.DRIVER_RESET),
        ("froze", Outcome.HANG),
        ("errors in 2 workers", Outcome.MISCOMPUTE),
        ("failed", Outcome.RESET),
        ("no", Outcome.RESET),
        ("ok", Outcome.HELD),
        ("aborted", Outcome.VOID),
        ("banana", None),
        ("", None),
    ],
)
def test_outcomes_in_words(text: str, outcome: Outcome | None) -> None:
    assert outcome_of(text) is outcome


def test_a_hand_kept_table() -> None:
    header = ["Date", "Core offset (mV)", "GPU core MHz", "Duration [min]", "Result", "Remarks", "mood"]
    rows = [
        ["2026-03-01", "-50", "", "30", "pass", "", "good"],
        ["2026-03-01 14:00", "80 mV", "45", "15", "crash", "while saving", "bad"],
        ["2026-03-02", "stock", "", "60", "ok", "", ""],
        ["", "", "", "", "", "", ""],
        ["2026-03-02", "-90", "", "long", "ok", "", ""],
        ["2026-03-02", "-90", "", "30", "banana", "", ""],
        ["2026-03-02", "+10", "", "30", "ok", "", ""],
    ]
    columns = match_columns(UNIT, header, {})
    assert columns == {
        "Date": "when",
        "Core offset (mV)": "cpu-core",
        "GPU core MHz": "gpu-core",
        "Duration [min]": "minutes",
        "Result": "outcome",
        "Remarks": "note",
        "mood": "ignore",
    }
    found, problems = rows_told(UNIT, header, rows, columns)
    assert [one.closing.outcome for one in found] == [Outcome.HELD, Outcome.RESET, Outcome.HELD]
    assert found[0].plan.setting == Setting(values={"cpu-core": -50, "cpu-cache": -50})
    assert found[1].plan.setting == Setting(values={"cpu-core": -80, "cpu-cache": -80, "gpu-core": 45})
    assert not found[1].closing.timed and found[0].closing.timed
    assert found[2].plan.setting.is_stock
    assert [text.split(":")[0] for text in problems] == ["line 6", "line 7", "line 8"]


def test_a_table_without_an_outcome_or_a_knob_is_refused() -> None:
    with pytest.raises(BadInput, match="no column says how"):
        rows_told(UNIT, ["cpu-core"], [["-50"]], {"cpu-core": "cpu-core"})
    with pytest.raises(BadInput, match="no column holds"):
        rows_told(UNIT, ["result"], [["ok"]], {"result": "outcome"})
    with pytest.raises(BadInput, match="no column 'x'"):
        match_columns(UNIT, ["a"], {"x": "outcome"})
    with pytest.raises(BadInput, match="nothing a column can hold"):
        match_columns(UNIT, ["a"], {"a": "sky"})


def test_values_typed_on_the_command_line() -> None:
    assert values_of(UNIT, {"cpu-core": "95"}) == {"cpu-core": -95}
    assert values_of(UNIT, {"cpu-core": "-95 mV", "gpu-core": "+120"}) == {"cpu-core": -95, "gpu-core": 120}
    for wrong in ({"cpu-core": "+95"}, {"gpu-core": "-15"}, {"ghost": "1"}, {"cpu-core": "1.2.3"}):
        with pytest.raises(BadInput):
            values_of(UNIT, wrong)


def test_dates() -> None:
    assert moment_of("2026-03-01T10:00:00+00:00", "x") == datetime(2026, 3, 1, 10, tzinfo=UTC)
    assert moment_of("", "x") is None
    with pytest.raises(BadInput, match="the date 'yesterday'"):
        moment_of("yesterday", "x")
    for year in ("0001-01-01", "9999-12-31T23:59"):
        with pytest.raises(BadInput, match="the year of"):
            moment_of(year, "x")


@given(st.lists(st.lists(st.text(max_size=12), min_size=4, max_size=4), max_size=6))
def test_any_table_gives_runs_or_problems_never_a_traceback(rows: list[list[str]]) -> None:
    header = ["cpu-core", "minutes", "result", "when"]
    columns = match_columns(UNIT, header, {})
    found, problems = rows_told(UNIT, header, rows, columns)
    told_of = [row for row in rows if any(cell.strip() for cell in row)]
    assert len(found) + len(problems) == len(told_of), "nothing is silently dropped"


def test_impossible_minutes() -> None:
    for minutes in (-1.0, float("nan"), float("inf"), 1e9):
        with pytest.raises(BadInput):
            told(UNIT, {}, Outcome.HELD, minutes)
