"""What texts from elsewhere may do at the doors: nothing. Terminal, JSON, CSV, TOML and page, each tried whole."""

from __future__ import annotations

import ast
import csv
import io
import json
import re
import tomllib
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.table import Table
from typer.testing import CliRunner

import surefoot
from surefoot.cli import common
from surefoot.cli.main import app
from surefoot.cli.terminal import HarmlessConsole
from surefoot.harmless import for_cell, for_eyes, for_json
from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Conditions, Knob, LoadCard, Setting, Unit

BAD = "a\x1b[2J\x9b31m\u202egnp\u2066x\u200b\x07\x08\x7f\ud800[bold]:smile:</script><img src=x onerror=alert(1)>&"
FORMULA = "=cmd|'/c calc'!A1"
SOURCES = Path(surefoot.__file__).parent


def obeyed(text: str) -> list[str]:
    """What a terminal or an eye would obey, by Unicode's own categories (control, format, surrogate)."""
    return [one for one in text if unicodedata.category(one) in ("Cc", "Cf", "Cs") and one != "\n"]


def test_a_text_that_is_nobodys_trick_stays_as_it_is() -> None:
    for text in ("−95 mV · 61 °C → 4.2 GHz", "日本語 Ünï \U0001f600", "a\nb", "1\u00a0000\u202fmV"):
        assert for_eyes(text) == text
    assert not obeyed(for_eyes(BAD)) and for_eyes("a\tb") == "a b"


@given(st.text())
def test_nothing_is_left_to_obey_and_json_says_the_same(text: str) -> None:
    assert not obeyed(for_eyes(text))
    told = for_json(json.dumps([text], ensure_ascii=False))
    assert not obeyed(told) and json.loads(told) == [text]


@pytest.mark.parametrize("text", ["=1+1", "+1+cmd", "-2+3", "@SUM(A1)", "\t=1", " =1", "\r=1", "\uff1d1", FORMULA])
def test_no_cell_is_a_formula(text: str) -> None:
    assert for_cell(text).startswith("'")


@pytest.mark.parametrize("value", ["-95", "+3.5", -95.0, 7, None, "−95 mV", "plain", "a=b", "-1e3"])
def test_numbers_and_words_stay_cells(value: object) -> None:
    assert for_cell(value) == value


def test_the_console_obeys_nothing_but_its_own_styles() -> None:
    out = io.StringIO()
    console = HarmlessConsole(file=out, force_terminal=True, width=200, color_system="truecolor")
    table = Table(title=BAD)
    table.add_column(BAD, style="red")
    table.add_row(BAD)
    console.print(table)
    console.print(BAD, style="bold")
    console.status(BAD)
    plain = re.sub(r"\x1b\[[0-9;]*m", "", out.getvalue())
    assert not obeyed(plain) and "[bold]:smile:" in plain


def test_everything_for_people_goes_through_that_console() -> None:
    """Nobody makes another console, and what is written past it is known."""
    makers, writers = set(), set()
    for file in SOURCES.rglob("*.py"):
        name = file.relative_to(SOURCES).as_posix()
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            called = ast.unparse(node.func)
            if called in ("Console", "rich.console.Console", "rich.print", "HarmlessConsole"):
                makers.add(name)
            if name.startswith(("cli/", "guide/")) and called in (
                "sys.stdout.write", "sys.stderr.write", "typer.echo", "print", "typer.confirm", "typer.prompt",
            ):  # fmt: skip
                text = ast.unparse(node.args[0]) if node.args else ""
                harmless = ("for_eyes(", "to_json(", "csv_text(", "card_text(")
                if not any(word in text for word in harmless) and not isinstance(node.args[0], ast.Constant):
                    writers.add(f"{name}: {text}")
    assert makers == {"cli/common.py"}
    assert writers == {"cli/main.py: f'surefoot {__version__}'"}


KNOB = Knob("core", "cpu", "mV", "down", 5, 100)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path))
    bad = BAD.replace("\ud800", "")
    card = Unit(
        name="box", knobs=(KNOB,), notes=bad, firmware=FORMULA, parts={bad: bad, "cpu": FORMULA}, cooling=bad,
        loads=(LoadCard(name=bad, instructions=bad),),
    )  # fmt: skip
    with Journal.open() as journal:
        journal.add_unit(card)
        for number in range(6):
            journal.log_run(
                RunPlan(
                    unit_name="box", setting=Setting(values={"core": -5.0 * (number % 2)}), load=bad, note=FORMULA,
                    planned_minutes=5, conditions=Conditions(ambient_celsius=20, power_mode=bad, supply="@x"),
                ),
                Closing(outcome=Outcome.HELD, minutes=5, judged_by=bad, note="=1+1"),
            )  # fmt: skip
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        "unit list", "unit show box", "unit show box --toml", "unit show box --json", "runs box", "runs box --json",
        "runs box --run 1", "runs box --csv", "next box", "recall box", "fleet", "load list --unit box", "compare box",
        "configs box",
    ],
)  # fmt: skip
def test_no_view_of_a_hostile_unit_lets_anything_through(home: Path, words: str) -> None:
    done = CliRunner().invoke(app, words.split())
    assert not obeyed(done.output.replace("\r\n", "\n")), words
    if "--json" in words:
        assert "\\u202e" in done.output and json.loads(done.output)
    if "--toml" in words:
        assert tomllib.loads(done.output)["notes"] == BAD.replace("\ud800", "")


def test_csv_holds_no_formula(home: Path) -> None:
    done = CliRunner().invoke(app, ["runs", "box", "--csv"])
    cells = [cell for row in csv.reader(io.StringIO(done.output)) for cell in row]
    assert f"'{FORMULA}" in cells and "'@x" in cells
    assert not [cell for cell in cells if cell.startswith(tuple("=+@")) or re.match(r"-[^\d]", cell)]
    CliRunner().invoke(app, ["fleet", "--csv", str(home / "fleet.csv")])
    assert (home / "fleet.csv").read_text(encoding="utf-8").count("\n") >= 2


def test_the_page_holds_words_and_no_markup_of_others(home: Path) -> None:
    done = CliRunner().invoke(app, ["report", "box", "--out", str(home / "page.html")])
    if done.exit_code == 2:
        done = CliRunner().invoke(app, ["report", "box", str(home / "page.html")])
    assert done.exit_code == 0, done.output
    page = (home / "page.html").read_text(encoding="utf-8")
    assert "<img src=x" not in page and "onerror=alert" not in re.sub(r"onerror=alert\(1\)&gt;", "", page)
    assert not [one for one in obeyed(page) if one != "\r"]


def test_an_error_is_harmless_too(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from surefoot.cli.main import run

    monkeypatch.setattr("sys.argv", ["surefoot", "unit", "show", BAD])
    with pytest.raises(SystemExit) as ended:
        run()
    assert ended.value.code == 2 and not obeyed(capsys.readouterr().err)
    assert common.plain({"a": 1}) == {"a": 1}
