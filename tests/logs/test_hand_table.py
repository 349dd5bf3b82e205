"""A hand-kept table: what each column holds, what each row says, and what is not sure."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.logs.hand_minutes import read_minutes, unit_of_heading
from surefoot.logs.hand_table import HandTable, read_hand_table
from surefoot.logs.tables import Table, read_table
from surefoot.runs import Outcome
from surefoot.units import Knob, Unit

UNIT = Unit(
    name="shoebox-3",
    knobs=(
        Knob("cpu-core", "cpu", "mV", "down", 5, 250),
        Knob("cpu-cache", "cpu", "mV", "down", 5, 250, linked_to="cpu-core"),
        Knob("gpu-core", "gpu", "MHz", "up", 15, 300),
    ),
)


def table(header: Sequence[str], *rows: Sequence[str]) -> Table:
    lines = tuple(range(2, len(rows) + 2))
    return Table(tuple(header), tuple(tuple(row) for row in rows), (), lines, ".", ",", "utf-8")


def meanings(*header: str) -> list[str]:
    found = read_hand_table(table(header, [""] * len(header)), UNIT)
    return [column.meaning for column in found.columns]


def from_text(text: str, **given: str) -> HandTable:
    return read_hand_table(read_table(text.encode()), UNIT, given)


def test_a_hand_kept_table() -> None:
    found = read_hand_table(
        table(
            ["Date", "Core offset (mV)", "GPU core MHz", "Duration [min]", "Result", "Remarks", "mood"],
            ["2026-03-01", "-50", "", "30", "pass", "", "good"],
            ["2026-03-01 14:00", "-80 mV", "45", "15", "crash", "while saving", "bad"],
            ["2026-03-02", "stock", "", "60", "ok", "", ""],
            ["", "", "", "", "", "", ""],
            ["2026-03-02", "-90", "", "long", "ok", "", ""],
            ["2026-03-02", "-90", "", "30", "banana", "", ""],
            ["2026-03-02", "+10", "", "30", "ok", "", ""],
            ["2026-03-02", "", "", "30", "ok", "", ""],
            ["soon", "-20", "", "30", "ok", "", ""],
        ),
        UNIT,
    )
    assert [column.meaning for column in found.columns] == [
        *("when", "cpu-core", "gpu-core", "minutes", "outcome", "note", "ignore")
    ]
    assert [(row.line, row.outcome, row.minutes) for row in found.rows] == [
        *((2, Outcome.HELD, 30), (3, Outcome.RESET, 15), (4, Outcome.HELD, 60))
    ]
    assert [dict(row.values) for row in found.rows] == [
        *({"cpu-core": -50}, {"cpu-core": -80, "gpu-core": 45}, {"cpu-core": 0})
    ]
    assert (found.rows[0].when, found.rows[0].whole_day) == (datetime(2026, 3, 1), True)
    assert (found.rows[1].when, found.rows[1].whole_day) == (datetime(2026, 3, 1, 14), False)
    assert [problem.line for problem in found.problems] == [6, 7, 8, 9, 10]
    assert "Write -10 if that is meant" in found.problems[2].text
    assert found.doubts == () and all(not row.doubts for row in found.rows)


DCMO = ["when", "cpu-core", "minutes", "outcome"]


@pytest.mark.parametrize(
    ("header", "wanted"),
    [
        (["CPU core [mV]", "Time under load (min)", "Stable?"], ["cpu-core", "minutes", "outcome"]),
        (["Datum", "CPU-Versatz mV", "Dauer (Std)", "Ergebnis", "Notiz"], [*DCMO, "note"]),
        (["Date", "Décalage CPU (mV)", "Durée min", "Résultat"], DCMO),
        (["Fecha", "Voltaje CPU mV", "Duración [h]", "Resultado", "Notas"], [*DCMO, "note"]),
        (["gpu offset", "hours", "verdict", "stress test", "mode"], ["gpu-core", "hours", "outcome", "load", "mode"]),
        (["cpu mV", "Test", "Minutes", "Test result"], ["cpu-core", "load", "minutes", "outcome"]),
    ],
)  # fmt: skip
def test_headings_in_four_languages(header: list[str], wanted: list[str]) -> None:
    assert meanings(*header) == wanted


def test_the_seven_rows_of_the_issue_say_the_same_in_other_words() -> None:
    """The same table gave -85 mV with "did not pass" and -60 mV with "failed"."""
    rows = [
        ("-20", "pass"),
        ("-40", "pass"),
        ("-60", "pass"),
        ("-70", "{}"),
        ("-80", "{}"),
        ("-85", "{}"),
        ("-90", "{}"),
    ]
    said = [
        from_text("core mV,minutes,result\n" + "\n".join(f"{mv},30,{word.format(no)}" for mv, word in rows))
        for no in ("did not pass", "failed", "not held", "wasn't stable", "instable", "no pass", "not good")
    ]
    assert all([row.outcome for row in one.rows] == [row.outcome for row in said[0].rows] for one in said)
    assert [row.outcome is Outcome.HELD for row in said[0].rows] == [True] * 3 + [False] * 4


def test_a_failure_without_a_time_still_counts_and_a_hold_without_one_does_not() -> None:
    found = from_text("core mV,minutes,result\n-60,30,pass\n-80,,failed\n-70,,pass\n")
    assert [(row.line, row.minutes) for row in found.rows] == [(2, 30), (3, 60)]
    assert "when it failed is not said" in found.rows[1].note
    assert [problem.line for problem in found.problems] == [4]


@pytest.mark.parametrize(
    ("cell", "unit", "minutes", "sure"),
    [
        *(("30", "minutes", 30, True), ("2h", "minutes", 120, True), ("1h30", "minutes", 90, True)),
        *(("1 h 30 min", "minutes", 90, True), ("90 s", "minutes", 1.5, True), ("2,5 h", "minutes", 150, True)),
        *(("1.5 Std", None, 90, True), ("1:30:00", "minutes", 90, True), ("2", "hours", 120, True)),
        *(("90", "seconds", 1.5, True), ("0:30", "h:m", 30, True), ("0:30", "m:s", 0.5, True)),
        ("1:30 h", None, 90, True),
        *(("0:30", "minutes", 0.5, False), ("30", None, 30, False), ("long", "minutes", None, False)),
        *(("0:75", "minutes", None, False), ("5 x", "minutes", None, False)),
    ],
)  # fmt: skip
def test_lengths_of_time(cell: str, unit: str | None, minutes: float | None, sure: bool) -> None:
    read = read_minutes(cell, unit)
    assert (read.minutes, read.sure) == (pytest.approx(minutes) if minutes is not None else None, sure)


def test_the_unit_of_a_heading() -> None:
    heads = ["Duration [min]", "Dauer (Std)", "time [h:mm]", "mm:ss", "h", "length", "secs under load", "hours or min"]
    assert [unit_of_heading(head) for head in heads] == [
        *("minutes", "hours", "h:m", "m:s", "hours", None, "seconds", None)
    ]


def test_a_length_without_a_unit_is_a_doubt_of_its_column_until_it_is_said() -> None:
    text = "core mV,length,result\n-20,30,ok\n-30,2h,ok\n"
    assert "names no unit" in from_text(text).doubts[0]
    assert from_text(text, length="minutes").doubts == ()
    assert [row.minutes for row in from_text(text, length="hours").rows] == [1800, 120]
    assert from_text("core mV,length,result\n-20,30 min,ok\n-30,2h,ok\n").doubts == ()


def test_what_is_not_sure_stands_with_its_row() -> None:
    found = from_text("core mV,minutes,result\n-20,30,ok\n-30,0:30,ok\n40,30,ok\n-50,30,almost stable\n-60,30,fail\n")
    assert [bool(row.doubts) for row in found.rows] == [False, True, True, True, False]
    assert "either 30 min or 0 min 30 s" in found.rows[1].doubts[0] and "no sign" in found.rows[2].doubts[0]
    assert dict(found.readings) == {"ok": "held", "almost stable": "held ?", "fail": "reset"}
    undervolt = from_text("core undervolt mV,minutes,result\n20,30,ok\n30,30,fail\n")
    assert [(row.values["cpu-core"], row.doubts) for row in undervolt.rows] == [(-20, ()), (-30, ())]


def test_dates_of_short_numbers_are_settled_by_the_column_or_asked() -> None:
    head = "date,core mV,minutes,result\n"
    unsure = from_text(head + "3/4/2026,-20,30,ok\n5/6/2026,-30,30,ok\n")
    assert len(unsure.rows) == 2 and "may be" in unsure.doubts[0]
    settled = from_text(head + "3/4/2026,-20,30,ok\n25/4/2026,-30,30,ok\n")
    assert settled.doubts == () and settled.rows[0].when == datetime(2026, 4, 3)


def test_a_table_without_an_outcome_or_a_knob_is_refused() -> None:
    with pytest.raises(BadInput, match="no column says how"):
        from_text("cpu-core,minutes\n-50,30\n")
    with pytest.raises(BadInput, match="no column holds"):
        from_text("result,minutes\nok,30\n")
    with pytest.raises(BadInput, match="no column 'x'"):
        from_text("a,b\n1,2\n", x="outcome")
    with pytest.raises(BadInput, match="nothing a column can hold"):
        from_text("a,b\n1,2\n", a="sky")
    with pytest.raises(BadInput, match="two columns"):
        from_text("a,b\n1,2\n", a="outcome", b="outcome")


@given(st.lists(st.lists(st.text(max_size=12), min_size=4, max_size=4), max_size=6))
def test_any_table_gives_runs_or_problems_never_a_traceback(rows: list[list[str]]) -> None:
    found = read_hand_table(table(["cpu-core", "minutes", "result", "when"], *rows), UNIT)
    told_of = [row for row in rows if any(cell.strip() for cell in row)]
    assert len(found.rows) + len(found.problems) == len(told_of), "nothing is silently dropped"


def test_on_a_unit_of_one_knob_an_offset_can_be_nothing_else() -> None:
    one = UNIT.model_copy(update={"knobs": UNIT.knobs[:2]})
    read = read_hand_table(table(["offset", "outcome"], ["-40", "held"]), one)
    assert [column.meaning for column in read.columns] == ["cpu-core", "outcome"]
    assert meanings("Versatz", "outcome", "Core mV")[0] == "ignore", "with two knobs it may be either"
    with pytest.raises(BadInput, match="no column holds"):
        read_hand_table(table(["GPU offset", "outcome"], ["-40", "held"]), one)


def test_a_failure_with_its_sign_wrong_is_taken_below_stock_and_noted() -> None:
    """A voltage is never set above stock, so it can have been nothing else; a hold is refused for it."""
    unit = Unit(name="u", knobs=(Knob("core", "cpu", "mV", "down", 5, 250),))
    table = read_table(b"core mV;minutes;result\n-40;30;ok\n+60;2;crash\n+50;30;ok\n")
    found = read_hand_table(table, unit)
    assert [(row.values["core"], row.outcome) for row in found.rows] == [(-40, "held"), (-60, "reset")]
    assert found.rows[1].note == "core was written +60, taken as -60" and found.rows[1].doubts == ()
    assert [problem.line for problem in found.problems] == [4]
