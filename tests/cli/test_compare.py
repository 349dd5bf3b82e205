"""`surefoot compare`, `choose` and `configs` as a user meets them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from score_terminal import Terminal

from surefoot.journal import Journal
from surefoot.runs import Closing, Outcome, Reading, RunPlan, Score
from surefoot.units import Conditions, Knob, Setting, Unit

UNIT = Unit(
    name="bench-a",
    knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150), Knob("gpu-core", "gpu", "MHz", "up", 15, 300)),
    supply_watts=205,
)


@pytest.fixture
def empty(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> Terminal:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    with Journal.open() as journal:
        journal.add_unit(UNIT)
    return Terminal(monkeypatch, capsys)


def measured(mode: str, depth: float, points: list[float], decibels: float, watts: float) -> None:
    with Journal.open() as journal:
        for number, score in enumerate(points):
            plan = RunPlan(
                unit_name="bench-a",
                setting=Setting(values={"cpu-core": -depth}),
                load="mixed",
                planned_minutes=10,
                purpose="measure",
                conditions=Conditions(power_mode=mode, ambient_celsius=21 + number / 10, supply="adapter"),
            )
            run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=10, judged_by="by hand"))
            journal.add_score("bench-a", Score(name="render", value=score), run_id=run)
            spread = 0.2 * (number % 3 - 1)
            for reading in (
                Reading(kind="sound", value=decibels + spread, background=30, place="ear"),
                Reading(kind="wall-power", value=watts + spread),
                Reading(kind="surface", value=40 + decibels / 5 + spread, place="top panel"),
            ):
                journal.add_reading("bench-a", reading, run_id=run)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home made once; each test gets a copy, since every write waits for the disk."""
    home = tmp_path_factory.mktemp("filled")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SUREFOOT_HOME", str(home))
        with Journal.open() as journal:
            journal.add_unit(UNIT)
        measured("full", 0, [5120, 5102, 5138, 5129, 5111], 46, 187)
        measured("full", 72, [5480, 5462, 5498, 5489, 5471], 44, 176)
        measured("evening", 72, [5376, 5358, 5394], 37, 121)
        measured("evening", 0, [4420], 38, 132)
    return home


@pytest.fixture
def terminal(
    filled: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> Terminal:
    shutil.copytree(filled, tmp_path / "home")
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))
    return Terminal(monkeypatch, capsys)


def test_compare_says_what_is_real_in_words(terminal: Terminal) -> None:
    assert terminal("compare", "bench-a") == 0
    assert "full mode, stock setting (baseline)" in terminal.words
    assert "+7.0 %" in terminal.out
    assert "▲ better" in terminal.out and "? one run" in terminal.out
    assert "Holm" in terminal.out and "One run only" in terminal.out
    assert "render per watt at the wall" in terminal.out
    assert "Watts at the baseline's score" in terminal.out
    assert "against a rating of 205 W" in terminal.words


def test_it_fits_eighty_columns_also_with_many_long_named_configurations(terminal: Terminal) -> None:
    for depth in range(10, 90, 10):
        measured("a mode with quite a long name for what it is", depth, [5120, 5121], 43, 163)
    assert terminal("compare", "bench-a", "--all") == 0
    assert max(map(len, terminal.out.splitlines())) <= 80
    assert terminal("choose", "bench-a", "--quietest") == 0
    assert max(map(len, terminal.out.splitlines())) <= 80
    assert terminal("configs", "bench-a") == 0
    assert "\x1b[" not in terminal.out


def test_compare_as_json_is_whole_and_has_no_nan(terminal: Terminal) -> None:
    got = terminal.json("compare", "bench-a")
    row = next(row for row in got["comparison"]["rows"] if row["metric"]["name"] == "render")
    verdicts = [cell["verdict"] for cell in row["cells"]]
    assert verdicts == ["baseline", "one run", "better", "better"]
    assert [cell["runs"] for cell in row["cells"]] == [5, 1, 5, 3]
    one_run = row["cells"][1]
    assert one_run["sd"] is None and one_run["gain"]["p_value"] is None
    assert {check["verdict"] for check in got["supply"]} == {"enough"}
    assert len(got["surfaces"]) == 14 and len(got["sounds"]) == 14
    assert got["comparison"]["room_celsius"] == pytest.approx(21.1, abs=0.11)


def test_compare_takes_names_numbers_a_baseline_and_metrics(terminal: Terminal) -> None:
    got = terminal.json("compare", "bench-a", "4", "3", "--metric", "render")
    assert [one["power_mode"] for one in got["comparison"]["configurations"]] == ["evening", "full"]
    assert [row["metric"]["name"] for row in got["comparison"]["rows"]] == ["render"]
    other = terminal.json("compare", "bench-a", "--baseline", "full mode, cpu-core -72 mV", "--ambient", "measured")
    assert other["comparison"]["baseline"].startswith("mode=full;cooling=;setting=cpu-core:-72")
    assert other["comparison"]["room_celsius"] is None


def test_compare_keeps_the_numbers_that_configs_gave(terminal: Terminal) -> None:
    numbers = {one["key"]: place for place, one in enumerate(terminal.json("configs", "bench-a")["configurations"], 1)}
    got = terminal.json("compare", "bench-a", "4", "3")
    keys = [one["key"] for one in got["comparison"]["configurations"]]
    assert got["numbers"] == {key: numbers[key] for key in keys} and [numbers[key] for key in keys] == [4, 3]
    assert terminal("compare", "bench-a", "4", "3", "--metric", "render") == 0
    shown = [line.split()[:2] for line in terminal.out.splitlines() if line.split()[:1] in (["3"], ["4"])]
    assert [number for number, _ in shown[:2]] == ["4", "3"]
    assert "1 full mode" not in terminal.words


def test_a_metric_that_was_asked_for_comes_alone(terminal: Terminal) -> None:
    assert terminal("compare", "bench-a", "--metric", "render per watt at the wall") == 0
    assert "render per watt at the wall" in terminal.words
    for other in ("Supply", "Surfaces", "Watts at the baseline's score", "sound", "wall power"):
        assert other not in terminal.out, other


def test_strict_and_confidence_change_what_is_called_real(terminal: Terminal) -> None:
    loose = terminal.json("compare", "bench-a")["comparison"]
    strict = terminal.json("compare", "bench-a", "--strict", "--confidence", "99%")["comparison"]
    assert "whole" not in loose["correction"] and "of the table" in strict["correction"]
    assert strict["confidence"] == pytest.approx(0.99)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("compare", "bench-a", "nothing like it"), "no configuration"),
        (("compare", "bench-a", "--baseline", "77"), "no configuration"),
        (("compare", "bench-a", "--metric", "speed of light"), "no metric"),
        (("compare", "bench-a", "--ambient", "warm"), "Degrees Celsius"),
        (("compare", "bench-a", "--confidence", "many"), "97% or 0.97"),
        (("compare", "bench-a", "--confidence", "150%"), "confidence"),
        (("compare", "nobody"), "nobody"),
        (("choose", "bench-a"), "--coolest"),
        (("choose", "bench-a", "--coolest", "--quietest"), "cannot both"),
        (("choose", "bench-a", "--quietest", "--keeping", "0%"), "share"),
        (("choose", "bench-a", "--quietest", "--keeping", "120%"), "share"),
        (("choose", "bench-a", "--quietest", "--of", "nothing"), "Those measured"),
        (("choose", "bench-a", "--quietest", "--against", "x"), "baseline"),
        (("configs", "bench-a", "--name", "1"), "NAME=VALUE"),
        (("configs", "bench-a", "--name", "9=x"), "no configuration"),
        (("configs", "bench-a", "--name", "1=7"), "number"),
        (("configs", "bench-a", "--order", "1,1"), "twice"),
        (("configs", "bench-a", "--mode", "evening"), "--add"),
        (("configs", "bench-a", "--add", "x", "--set", "cpu-core=50"), "above"),
        (("configs", "bench-a", "--add", "x", "--set", "no-knob=-5"), "no-knob"),
        (("configs", "bench-a", "--add", "x", "--set", "cpu-core=deep"), "signed number"),
        (("configs", "bench-a", "--add", "x", "--set", "cpu-core=nan"), "finite"),
    ],
)
def test_bad_input_ends_with_two_and_a_clear_word(terminal: Terminal, arguments: tuple[str, ...], says: str) -> None:
    code = terminal(*arguments)
    assert code == 2, terminal.out + terminal.err
    assert says in " ".join(terminal.err.split())
    assert "Traceback" not in terminal.err


def test_nothing_measured_says_what_to_do(empty: Terminal) -> None:
    assert empty("compare", "bench-a") == 2
    assert "surefoot measure" in empty.err
    assert empty("configs", "bench-a") == 0
    assert "surefoot measure" in empty.out


def test_choose_names_one_says_how_sure_and_what_it_costs(terminal: Terminal) -> None:
    assert terminal("choose", "bench-a", "--quietest", "--keeping", "97%") == 0
    assert terminal.words.startswith("evening mode, cpu-core -72 mV is the quietest")
    assert "keeping 98.1 % of render" in terminal.words
    assert "Chance that it keeps the share" in terminal.words
    got = terminal.json("choose", "bench-a", "--leanest", "--keeping", "0.99")
    assert got["choice"]["chosen"]["name"] == "full mode, cpu-core -72 mV"
    assert got["choice"]["measure"] == "wall-power.load"
    assert terminal.json("choose", "bench-a", "--fastest")["choice"]["chosen"]["share"] == 1.0


def test_choose_says_no_with_one(terminal: Terminal) -> None:
    with Journal.open() as journal:
        journal.add_unit(UNIT.model_copy(update={"name": "bench-b"}))
        plan = RunPlan(unit_name="bench-b", setting=Setting(), load="mixed", planned_minutes=1, purpose="measure")
        run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=1, judged_by="by hand"))
        journal.add_score("bench-b", Score(name="render", value=1), run_id=run)
    assert terminal("choose", "bench-b", "--quietest") == 1
    assert "surefoot reading" in terminal.err


def test_one_configuration_is_nothing_to_choose_between(empty: Terminal) -> None:
    measured("full", 0, [5120, 5102], 46, 187)
    assert empty("choose", "bench-a", "--quietest") == 1
    assert "nothing to choose between" in empty.err


def test_configurations_are_named_and_ordered(terminal: Terminal) -> None:
    assert terminal("configs", "bench-a", "--name", "3=tuned", "--name", "full mode, stock setting=as it came") == 0
    assert "tuned" in terminal.out
    assert terminal("configs", "bench-a", "--order", "tuned,as it came") == 0
    got = terminal.json("configs", "bench-a")["configurations"]
    assert [one["name"] for one in got][:2] == ["tuned", "as it came"]
    assert [one["rank"] for one in got] == [1, 2, 3, 4]
    assert got[0]["automatic_name"] == "full mode, cpu-core -72 mV"
    assert terminal("compare", "bench-a", "--metric", "render") == 0
    assert "1 tuned (baseline)" in terminal.words
    assert terminal("configs", "bench-a", "--name", "2=tuned") == 2
    assert "another configuration" in terminal.err
    assert terminal("configs", "bench-a", "--name", "tuned=") == 0
    assert terminal.json("configs", "bench-a")["configurations"][0]["name"] == "full mode, cpu-core -72 mV"


def test_those_that_an_order_leaves_out_follow_as_they_stood(terminal: Terminal) -> None:
    def keys() -> list[str]:
        return [one["key"] for one in terminal.json("configs", "bench-a")["configurations"]]

    first, second, third, fourth = keys()
    assert terminal("configs", "bench-a", "--order", "4") == 0
    assert keys() == [fourth, first, second, third]
    assert terminal("configs", "bench-a", "--order", "3,2") == 0
    assert keys() == [second, first, fourth, third]


def test_a_configuration_without_a_run_may_be_added_and_scored(empty: Terminal) -> None:
    assert empty("configs", "bench-a", "--add", "cooler", "--cooling", "lifted", "--set", "cpu-core=-72") == 0
    assert empty("score", "bench-a", "render", "5200", "--config", "cooler") == 0
    assert empty("score", "bench-a", "render", "5210", "--config", "cooler") == 0
    assert empty("compare", "bench-a") == 0
    assert "5205" in empty.out
    assert empty("configs", "bench-a", "--add", "again", "--cooling", "Lifted", "--set", "cpu-core=-72") == 2
    assert "already" in empty.err


def test_no_heavy_library_is_imported_at_start() -> None:
    import subprocess
    import sys

    code = (
        "import sys, surefoot.cli.main;"
        "print([name for name in ('pandas', 'scipy', 'altair', 'rich.table') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "pandas" not in done.stdout and "scipy" not in done.stdout and "altair" not in done.stdout
