"""Sixty columns: nothing is cut off and no line is longer, on a terminal and in a pipe that COLUMNS speaks for."""

from __future__ import annotations

import io
import os
import subprocess
import sys

import pytest
from rich.console import Console
from rich.table import Table

from surefoot.cli import common
from surefoot.cli.common import Fitting

COLUMNS = 60


def printed(table: Table, width: int) -> list[str]:
    out = Console(file=io.StringIO(), width=width, color_system=None)
    out.print(Fitting(table))
    assert isinstance(out.file, io.StringIO)
    return out.file.getvalue().splitlines()


def figures() -> Table:
    table = Table("strategy", *(f"figure {number}" for number in range(9)), title="reference: 3 units")
    table.add_row("posterior", *(f"{number}.125" for number in range(9)))
    table.add_row("", *(f"{number}.5" for number in range(9)))
    return table


def test_a_table_that_fits_stays_a_table_and_one_that_does_not_is_told_in_words() -> None:
    assert any("┃" in line for line in printed(figures(), 160))
    lines = printed(figures(), COLUMNS)
    assert max(map(len, lines)) <= COLUMNS and not any("…" in line or "┃" in line for line in lines)
    told = " ".join(" ".join(lines).split())
    assert "posterior: figure 0 0.125, figure 1 1.125" in told and "figure 8 8.125" in told
    assert "posterior: figure 0 0.5" in told, "a name left blank in the second row is that of the first"


def run(*arguments: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "surefoot", *arguments],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "COLUMNS": str(COLUMNS)},
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize(
    ("command", "options"),
    [
        (("live", "--help"), ("--start-with-login", "--not-with-login")),
        (("log", "--help"), ("--day-first", "--month-first", "--ambient")),
        (("rehearse", "--units", "1", "--population", "reference"), ("honest", "give", "past")),
    ],
)
def test_no_word_is_cut_off_at_sixty_columns(command: tuple[str, ...], options: tuple[str, ...]) -> None:
    out = run(*command)
    assert all(option in out for option in options) and "…" not in out
    assert max(map(len, out.splitlines())) <= COLUMNS


def test_an_error_is_folded_between_words_on_a_terminal_and_whole_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    text = (
        "surefoot: /a/long/path/that/stays/whole/whatever/its/length/is/here.toml: there is no such file. Give another."
    )
    assert common.wrapped(text) == text

    def terminal(stderr: bool = False) -> Console:
        return Console(file=io.StringIO(), width=COLUMNS, force_terminal=True)

    monkeypatch.setattr(common, "console", terminal)
    lines = common.wrapped(text).split("\n")
    assert len(lines) > 1 and " ".join(lines) == text
    assert "/a/long/path/that/stays/whole/whatever/its/length/is/here.toml:" in lines
