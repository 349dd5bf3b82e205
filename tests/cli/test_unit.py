"""`surefoot unit` as a user meets it."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from surefoot.cli import unit as unit_commands
from surefoot.cli.main import app
from surefoot.errors import BadInput, SurefootError
from surefoot.journal import Journal
from surefoot.journal.card_file import card_of_text, card_text
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import GoalCard, HandsCard, Knob, LoadCard, Setting, Unit

EXAMPLES = Path(__file__).parents[2] / "examples"
NAME = "shoebox-3"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path / "home"


def surefoot(*arguments: str, answers: str | None = None) -> Result:
    return CliRunner().invoke(app, list(arguments), input=answers)


def refused(*arguments: str, answers: str | None = None) -> SurefootError:
    result = surefoot(*arguments, answers=answers)
    assert isinstance(result.exception, SurefootError), result.output
    return result.exception


def add_example() -> None:
    assert surefoot("unit", "add", NAME, "--from", str(EXAMPLES / "shoebox-3.toml")).exit_code == 0


def card() -> Unit:
    with Journal.open() as journal:
        return journal.unit(NAME)


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.name)
def test_every_ready_card_can_be_added(path: Path) -> None:
    result = surefoot("unit", "add", "my machine", "--from", str(path), "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["name"] == told["card"]["name"] == "my machine" and told["card"]["knobs"]
    assert all(knob["toward"] == "down" for knob in told["card"]["knobs"] if knob["unit"] == "mV")


def test_the_ready_card_has_its_four_knobs() -> None:
    add_example()
    assert {knob.name: (knob.unit, knob.toward, knob.step, knob.limit, knob.linked_to) for knob in card().knobs} == {
        "cpu-core": ("mV", "down", 4, 140, None),
        "cpu-cache": ("mV", "down", 4, 140, "cpu-core"),
        "gpu-core": ("MHz", "up", 20, 280, None),
        "gpu-memory": ("MHz", "up", 40, 1200, None),
    }
    assert card().supply_watts == 520 and set(card().ceilings_celsius) == {"cpu", "gpu"}


def test_every_command_fits_80_columns() -> None:
    add_example()
    for arguments in (["unit", "list"], ["unit", "show", NAME]):
        result = surefoot(*arguments)
        assert result.exit_code == 0 and "cpu-core" in result.stdout
        assert max(map(len, result.stdout.splitlines())) <= 80


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("supply_watts = -5", "supply_watts"),
        ("supply_watt = 5", "supply_watt: this field is not known"),
        ("supply_watts = ", "not TOML"),
        ("[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mV'\ntoward = 'up'\nstep = 5\nlimit = 10", "above stock"),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mV'\ntoward = 'down'\nstep = 5",
            "knobs.0.limit: this field is missing",
        ),
        ("[[knobs]]\nname = 'a'\ncolour = 'red'", "knobs.0.colour: this field is not known"),
        ("knobs = [1]", "knobs.0: it must be a table"),
        ("[hands]\nkind = 'command'", "apply"),
        ("[ceilings_celsius]\ncpu = 400", "ceilings_celsius.cpu"),
    ],
)
def test_a_bad_card_is_told_with_its_file_and_field_and_changes_nothing(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_text(text)
    error = refused("unit", "add", NAME, "--from", str(path))
    assert error.exit_code == 2 and said in error.message() and "bad.toml" in error.message()
    add_example()
    before = card()
    assert refused("unit", "edit", NAME, "--from", str(path)).exit_code == 2
    assert card() == before
    with Journal.open() as journal:
        assert len(journal.card_history(NAME)) == 1


def test_a_card_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    assert "cannot be read" in refused("unit", "add", NAME, "--from", str(tmp_path / "missing.toml")).message()
    assert "cannot be read" in refused("unit", "add", NAME, "--from", str(tmp_path)).message()
    (tmp_path / "utf16.toml").write_text("firmware = '1'", encoding="utf-16")
    assert "UTF-8" in refused("unit", "add", NAME, "--from", str(tmp_path / "utf16.toml")).message()


def test_without_a_terminal_nothing_is_asked() -> None:
    error = refused("unit", "add", NAME)
    assert error.exit_code == 2 and "--from" in error.message()
    with Journal.open() as journal:
        assert journal.units() == []


def test_it_asks_and_asks_a_wrong_answer_again_by_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each wrong answer stands beside the right one that follows it; nothing else is asked twice."""
    monkeypatch.setattr(unit_commands, "_can_ask", lambda: True)
    program = Path(sys.executable).as_posix()
    answers = [
        *("8 cores", "", "", "1.2", "", "on a stand", "evening"),
        *("lots", "-1", "180"),
        *("cpu-core", "cup", "cpu", "mv", "mV", "", "0", "5", "2", "200"),
        *("cpu-core", "cpu-cache", "cpu", "mV", "5", "200", "gpu", "cpu-core"),
        *("gpu-core", "gpu", "MHz", "sideways", "up", "15", "2,5e2"),
        "",
        *("20", "95"),
        "",
        *("turns", "no-such-program --all", f"'{program}", f"'{program}' -c pass", "gpu-clock", "gpu-core"),
        *("turns", "tower", "", "start the tower", "gpu"),
        "",
        *("me", "command", f"'{program}' {{cpu-core}}", f"'{program}' {{cpu-core}} {{cpu-cache}} {{gpu-core}}", ""),
        *("0", "20", "101", "95", "all", "quick"),
        *("n", "n"),  # whether its commands may run here
    ]
    result = surefoot("unit", "add", NAME, answers="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    made = card()
    assert made.parts == {"processor": "8 cores"} and made.supply_watts == 180 and made.driver is None
    assert [(knob.name, knob.domain, knob.unit, knob.step, knob.limit, knob.linked_to) for knob in made.knobs] == [
        ("cpu-core", "cpu", "mV", 5, 200, None),
        ("cpu-cache", "cpu", "mV", 5, 200, "cpu-core"),
        ("gpu-core", "gpu", "MHz", 15, 250, None),
    ]
    assert made.ceilings_celsius == {"cpu": 95, "gpu": 95}
    assert [(load.name, load.command, load.instructions, load.exercises) for load in made.loads] == [
        ("turns", (program, "-c", "pass"), "", ("gpu-core",)),
        ("tower", (), "start the tower", ("gpu",)),
    ]
    assert made.hands.kind == "command" and made.hands.apply == (program, "{cpu-core}", "{cpu-cache}", "{gpu-core}")
    assert (made.goal.mttf_hours, made.goal.confidence, made.goal.effort) == (20, 0.95, "quick")
    for said in ("Did you mean cpu?", "Did you mean mV?", "not found here", "Close every", "no place for"):
        assert said in " ".join(result.output.split()), said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'bananas'\ntoward = 'down'\nstep = 1\nlimit = 9",
            "Known: mV, V",
        ),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mv'\ntoward = 'down'\nstep = 1\nlimit = 9",
            "Did you mean mV?",
        ),
        ("[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mv'\ntoward = 'up'\nstep = 1\nlimit = 9", "above stock"),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cup'\nunit = 'mV'\ntoward = 'down'\nstep = 1\nlimit = 9",
            "Did you mean cpu?",
        ),
        ("[[knobs]]\nname = 'a'\ndomain = 'q'\nunit = 'mV'\ntoward = 'down'\nstep = 1\nlimit = 9", "Known: cpu, gpu"),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mV'\ntoward = 'down'\nstep = 1\nlimit = 9\nload = 'none'",
            "There are: cpu,",
        ),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mV'\ntoward = 'down'\nstep = 5\nlimit = 2500",
            "farther from stock than any part goes",
        ),
        (
            "[[knobs]]\nname = 'a'\ndomain = 'gpu'\nunit = 'GHz'\ntoward = 'up'\nstep = 15\nlimit = 300",
            "10000 MHz",
        ),
        ("[ceilings_celsius]\ncup = 90", "Did you mean cpu?"),
        ("[[loads]]\nname = 'own'\ninstructions = 'x'\nexercises = ['gpu', 'cup']", "Did you mean cpu?"),
        ("[[loads]]\nname = 'own'\ncommand = ['no-such-program-here']", "--elsewhere"),
        ("[hands]\nkind = 'feet'", "Known: ask, command"),
    ],
)
def test_a_card_with_what_means_nothing_is_refused_and_told_what_is_known(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "odd.toml"
    path.write_text(text)
    error = refused("unit", "add", NAME, "--from", str(path))
    assert error.exit_code == 2 and said in error.message() and "odd.toml" in error.message()
    add_example()
    before = card()
    assert refused("unit", "edit", NAME, "--from", str(path)).exit_code == 2
    assert card() == before


def test_programs_of_another_machine_are_not_looked_for_here(tmp_path: Path) -> None:
    path = tmp_path / "far.toml"
    path.write_text("[[loads]]\nname = 'own'\ncommand = ['no-such-program-here']\n")
    assert surefoot("unit", "add", NAME, "--from", str(path), "--elsewhere").exit_code == 0
    path.write_text(path.read_text() + "[remote]\nagent = ['/opt/there/surefoot', 'agent']\n")
    assert surefoot("unit", "add", "far", "--from", str(path)).exit_code == 0, "the card itself says so"


def test_hands_whose_program_is_not_there_are_told(tmp_path: Path) -> None:
    path = tmp_path / "hands.toml"
    path.write_text("[hands]\nkind = 'command'\napply = ['no-such-program-here']\n")
    result = surefoot("unit", "add", NAME, "--from", str(path))
    assert result.exit_code == 0 and "'no-such-program-here' (apply) was not found here" in " ".join(
        result.output.split()
    )


def test_a_taken_name_is_told_before_anything_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    add_example()
    monkeypatch.setattr(unit_commands, "_can_ask", lambda: True)
    assert "already" in refused("unit", "add", NAME.upper(), answers="").message()
    assert "80 printable" in refused("unit", "add", "x" * 81, answers="").message()


def test_white_space_around_a_name_is_no_part_of_it() -> None:
    told = surefoot("unit", "add", f"  {NAME} ", "--from", str(EXAMPLES / "shoebox-3.toml"), "--json")
    assert json.loads(told.stdout)["name"] == NAME


def test_a_card_comes_back_as_toml_and_can_be_edited_from_it(tmp_path: Path) -> None:
    add_example()
    text = surefoot("unit", "show", NAME, "--toml").stdout
    path = tmp_path / "card.toml"
    path.write_text(text.replace('firmware = "R-0.93"', 'firmware = "1.15"'), encoding="utf-8")
    before = card()
    result = surefoot("unit", "edit", NAME, "--from", str(path), "--json")
    assert result.exit_code == 0, result.output
    assert card() == before.model_copy(update={"firmware": "1.15"})
    assert [entry["event"] for entry in json.loads(result.stdout)["history"]] == ["add", "revise"]
    again = surefoot("unit", "edit", NAME, "--from", str(path))
    assert "as it was" in again.stdout
    with Journal.open() as journal:
        assert len(journal.card_history(NAME)) == 2


def test_a_knob_with_runs_is_not_dropped_without_force(tmp_path: Path) -> None:
    add_example()
    with Journal.open() as journal:
        journal.log_run(
            RunPlan(unit_name=NAME, setting=Setting(values={"gpu-memory": 100}), load="clock-tower", planned_minutes=5),
            Closing(outcome=Outcome.HELD, minutes=5, judged_by="seen"),
        )
    data = card()
    path = tmp_path / "card.toml"
    path.write_text(card_text(data.model_copy(update={"knobs": data.knobs[:3]})))
    error = refused("unit", "edit", NAME, "--from", str(path))
    assert error.exit_code == 2 and "gpu-memory" in error.message() and "--force" in error.message()
    assert card() == data
    assert surefoot("unit", "edit", NAME, "--from", str(path), "--force").exit_code == 0
    assert [knob.name for knob in card().knobs] == ["cpu-core", "cpu-cache", "gpu-core"]
    assert len(json.loads(surefoot("runs", NAME, "--json").stdout)) == 1, "the run stays"


def test_a_step_that_is_a_long_way_is_told(tmp_path: Path) -> None:
    path = tmp_path / "long.toml"
    text = "[[knobs]]\nname = 'a'\ndomain = 'cpu'\nunit = 'mV'\ntoward = 'down'\nstep = {}\nlimit = 150"
    path.write_text(text.format(50))
    assert "a step of 50 mV is a long way" in " ".join(
        surefoot("unit", "add", "one", "--from", str(path)).output.split()
    )
    path.write_text(text.format(25))
    assert "long way" not in surefoot("unit", "add", "two", "--from", str(path)).output


def test_a_limit_that_moves_farther_from_stock_is_told(tmp_path: Path) -> None:
    add_example()
    wide = tmp_path / "wide.toml"
    text = (EXAMPLES / "shoebox-3.toml").read_text()
    wide.write_text(text.replace("limit = 140", "limit = 180", 1).replace("limit = 280", "limit = 200", 1))
    said = " ".join(surefoot("unit", "edit", NAME, "--from", str(wide)).output.split())
    assert "? cpu-core may now be taken to -180 mV; its limit was -140 mV." in said
    assert said.count("may now be taken") == 1


def test_a_unit_keeps_its_name(tmp_path: Path) -> None:
    add_example()
    path = tmp_path / "card.toml"
    path.write_text('name = "another"')
    assert "keeps its name" in refused("unit", "edit", NAME, "--from", str(path)).message()


@pytest.mark.skipif(sys.platform == "win32", reason="the editor is a shell script")
@pytest.mark.parametrize(
    ("script", "answers", "code", "said"),
    [
        ('sed -i \'s/"R-0.93"/"2.0"/\' "$1"', "", 0, "changed"),
        ("true", "", 1, "not saved"),
        ("echo 'supply_watts = -1' >> \"$1\"", "n\n", 2, ""),
        ("exit 3", "", 2, "editor"),
    ],
)
def test_the_editor(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, answers: str, code: int, said: str
) -> None:
    add_example()
    before = card()
    editor = tmp_path / "editor"
    editor.write_text(f"#!/bin/sh\n{script}\n")
    editor.chmod(editor.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("VISUAL", str(editor))
    monkeypatch.setattr(unit_commands, "_can_ask", lambda: True)
    # click tells a saved file by its time of change, which must not be the second it was written in.
    result = surefoot("unit", "edit", NAME, answers=answers)
    if code == 0:
        assert result.exit_code == 0, result.output
        assert card().firmware == "2.0" and said in result.stdout
    else:
        assert isinstance(result.exception, SurefootError) and result.exception.exit_code == code
        assert said in result.exception.message()
        assert card() == before


def test_a_retired_unit_is_hidden_and_comes_back() -> None:
    add_example()
    assert "kept" in surefoot("unit", "retire", NAME).stdout
    assert json.loads(surefoot("unit", "list", "--json").stdout) == []
    assert [line["retired"] for line in json.loads(surefoot("unit", "list", "--all", "--json").stdout)] == [True]
    assert "retired" in surefoot("unit", "list", "--all").stdout and "retired" in surefoot("unit", "show", NAME).stdout
    assert refused("unit", "retire", NAME).exit_code == 2
    assert json.loads(surefoot("unit", "retire", NAME, "--undo", "--json").stdout)["retired"] is False
    assert [line["name"] for line in json.loads(surefoot("unit", "list", "--json").stdout)] == [NAME]


def test_json_is_json_and_nothing_else() -> None:
    add_example()
    for arguments in (["unit", "list"], ["unit", "show", NAME]):
        assert json.loads(surefoot(*arguments, "--json").stdout)
    assert refused("unit", "show", "nobody", "--json").exit_code == 2


def test_a_name_with_markup_is_shown_as_it_is() -> None:
    name = "[bold]x[/no]"
    result = surefoot("unit", "add", name, "--from", str(EXAMPLES / "shoebox-3.toml"))
    assert result.exit_code == 0, result.output
    assert name in surefoot("unit", "list").stdout and name in surefoot("unit", "show", name).stdout


def test_the_entry_point_ends_with_a_message_and_no_traceback(home: Path) -> None:
    home.mkdir()
    (home / "journal.sqlite").write_bytes(b"no database, but long enough to look at" * 10)
    done = subprocess.run(
        [str(Path(sys.executable).with_name("surefoot")), "unit", "list"],
        check=False,
        capture_output=True,
        text=True,
        env={**os.environ, "SUREFOOT_HOME": str(home)},
    )
    assert done.returncode == 3 and done.stdout == ""
    assert done.stderr.startswith("surefoot: ") and "damaged" in done.stderr and "Traceback" not in done.stderr


texts = st.text(max_size=20)
names = st.text(st.characters(categories=["L", "N", "P"]), min_size=1, max_size=12)
positive = st.floats(0.001, 4000, allow_nan=False)


@st.composite
def knobs(draw: st.DrawFn) -> Knob:
    unit = draw(st.sampled_from(["mV", "MHz", "W"]))
    step = draw(st.floats(0.001, 100))
    return Knob(
        name=draw(names),
        domain=draw(names),
        unit=unit,
        toward="down" if unit == "mV" else draw(st.sampled_from(["down", "up"])),
        step=step,
        limit=step * draw(st.floats(1, 100)),
        load=draw(st.none() | names),
    )


@st.composite
def units(draw: st.DrawFn) -> Unit:
    return Unit(
        name="u",
        parts=draw(st.dictionaries(texts, texts, max_size=3)),
        firmware=draw(st.none() | texts),
        supply_watts=draw(st.none() | positive),
        ceilings_celsius=draw(st.dictionaries(names, st.floats(30, 120), max_size=2)),
        knobs=tuple({knob.name: knob for knob in draw(st.lists(knobs(), max_size=3))}.values()),
        hands=draw(st.just(HandsCard()) | st.builds(HandsCard, kind=st.just("command"), apply=st.tuples(names, texts))),
        loads=tuple(draw(st.lists(st.builds(LoadCard, name=names, command=st.tuples(texts)), max_size=2))),
        goal=GoalCard(
            mttf_hours=draw(st.floats(0.5, 99_999)),
            confidence=draw(st.floats(0.5, 0.999)),
            effort=draw(st.sampled_from(["quick", "usual", "thorough"])),
        ),
        notes=draw(texts),
    )


@given(units())
def test_any_card_survives_toml(unit: Unit) -> None:
    text = card_text(unit)
    tomllib.loads(text)
    assert card_of_text(text, "u", where="test", rename=False) == unit


@given(st.text(max_size=200))
def test_any_text_is_a_card_or_bad_input(text: str) -> None:
    try:
        card_of_text(text, "u", where="test")
    except BadInput as error:
        assert error.exit_code == 2
