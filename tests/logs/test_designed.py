"""Nothing is taken wrongly without a word: designed logs, and what must be said of some."""

from __future__ import annotations

from collections import Counter

import pytest
from designed import CASES, cells, silently_wrong, text

from surefoot.errors import BadInput
from surefoot.logs import ASK_BELOW, read_log

KINDS = Counter(name.partition(":")[0] for name in CASES)


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_right_or_asked_or_refused(kind: str) -> None:
    wrong = {name: silently_wrong(make()) for name, make in CASES.items() if name.partition(":")[0] == kind}
    assert not {name: found for name, found in wrong.items() if found}


def test_a_log_with_nothing_wrong_is_taken_without_a_question() -> None:
    log = read_log(text(cells()))
    assert not log.questions and not log.problems
    assert all(column.confidence >= ASK_BELOW for column in log.columns)


@pytest.mark.parametrize("name", [name for name, make in CASES.items() if make().said])
def test_what_was_left_out_is_said(name: str) -> None:
    case = CASES[name]()
    try:
        log = read_log(case.data)
    except BadInput:
        return
    told = [*log.notes, *(f"{one.column} {one.text}" for one in (*log.problems, *log.questions))]
    assert any(piece in text for piece in case.said for text in told), told


def test_rows_wider_than_the_header_are_refused_with_the_line_and_the_cells() -> None:
    with pytest.raises(BadInput) as raised:
        read_log(CASES["unquoted decimal commas: one place"]().data)
    assert "line 2 has 13 cells where the header names 7" in raised.value.message()
    assert "decimal commas" in raised.value.message()


def test_a_shifted_row_is_left_out_with_its_line() -> None:
    log = read_log(CASES["shifted right, the end lost: one row"]().data)
    assert log.samples_read == 39
    assert any(one.line == 19 and "further right" in one.text for one in log.problems), log.problems


def test_a_second_header_starts_a_new_mapping() -> None:
    case = CASES["a second header: two columns swapped"]()
    log = read_log(case.data)
    assert log.samples_read == 40 and any("another header at line 22" in note for note in log.notes)
    for channel, values in case.truth.items():
        assert log.trace.channels[channel].tolist() == pytest.approx(values.tolist())


def test_the_last_row_of_a_cut_file_is_dropped_and_said() -> None:
    log = read_log(CASES["the last row: garbage"]().data)
    assert log.samples_read == 39 and log.problems[-1].line == 41
