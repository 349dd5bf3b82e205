"""The report's sentences and numbers."""

from __future__ import annotations

import math

import pytest

from surefoot.report import words
from surefoot.runs import Outcome, Score
from surefoot.scores.comparison import compare
from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.metrics import Sample, of_score
from surefoot.units import Knob, Setting, Unit
from surefoot.wording import listed

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 200)
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 300)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("cpu-core -95 mV", "cpu-core −95 mV"),
        ("-5", "−5"),
        ("a-1", "a-1"),
        ("2026-03-02", "2026-03-02"),
        ("(-1.5)", "(−1.5)"),
    ],
)
def test_minus_signs_before_numbers_only(text: str, shown: str) -> None:
    assert words.minus(text) == shown


@pytest.mark.parametrize(
    ("value", "decimals", "shown"),
    [(1234.5, 0, "1,234"), (-0.04, 1, "0.0"), (-2.5, 1, "−2.5"), (math.nan, 1, "–"), (math.inf, 0, "–"), (0.0, 0, "0")],
)
def test_numbers_for_reading(value: float, decimals: int, shown: str) -> None:
    assert words.number(value, decimals) == shown


@pytest.mark.parametrize(("value", "shown"), [(0.04, "0.0"), (0.06, "+0.1"), (-3.0, "−3.0"), (0.0, "0.0")])
def test_signed_numbers_do_not_claim_a_sign_that_rounding_took(value: float, shown: str) -> None:
    assert words.signed(value, 1) == shown


def test_a_gain_is_said_with_its_sign() -> None:
    assert words.signed(100 * (5480 / 5120 - 1), 1) + " %" == "+7.0 %"


def test_a_name_becomes_a_file_name() -> None:
    assert words.slug("<script>alert(1)</script>") == "script-alert-1-script"
    assert words.slug("../../etc/passwd") == "etc-passwd"
    assert words.slug("日本") == "x"


def test_a_name_is_quoted_for_the_shell() -> None:
    assert words.quoted("my laptop; rm x") == "'my laptop; rm x'"


def test_the_title_of_a_search_says_what_it_showed() -> None:
    runs = [(0.0, Outcome.HELD, 5.0), (20.0, Outcome.HELD, 5.0), (40.0, Outcome.RESET, 1.0), (30.0, Outcome.VOID, 1.0)]
    assert words.search_title(CORE, runs, None) == "cpu-core: held down to −20 mV and failed from −40 mV on (1 run)"
    assert words.search_title(CORE, runs, -20.0) == "cpu-core: known-stable at −20 mV and failed from −40 mV on (1 run)"
    assert words.search_title(CLOCK, [(0.0, Outcome.HELD, 1.0)], None) == "gpu-core: no run off stock yet"


def test_numbers_stay_with_their_units() -> None:
    assert words.tidy("at 90% and 5 % of 20 mV in 3 min, 4 minutes") == (
        "at 90\u00a0% and 5\u00a0% of 20\u00a0mV in 3\u00a0min, 4 minutes"
    )


def test_setting_parts_and_lists() -> None:
    unit = Unit(name="u", knobs=(CORE, CLOCK))
    assert words.setting_parts(unit, Setting()) == ["stock"]
    setting = Setting(values={"cpu-core": -80, "gpu-core": 90})
    assert words.setting_parts(unit, setting) == ["cpu-core −80 mV", "gpu-core +90 MHz"]
    assert listed(["a", "b", "c"]) == "a, b and c"


@pytest.mark.parametrize(("higher", "value", "best"), [(True, "+30.0 %", "third"), (False, "−40.0 %", "first")])
def test_without_a_known_stable_setting_the_title_names_the_best(higher: bool, value: str, best: str) -> None:
    metric = of_score(Score(name="gears", value=1, unit="points" if higher else "s", higher_is_better=higher))
    levels = {"first": 60.0, "base": 100.0, "second": 120.0 if higher else 80.0, "third": 130.0}
    made = []
    for place, name in enumerate(levels):
        setting = Setting(values={"cpu-core": -5.0 * place})
        key = key_of(Parts(None, None, setting, None, None))
        made.append(Configuration(key, name, name, None, None, None, setting, None, None))
    samples = [
        Sample(
            metric,
            one.key,
            levels[one.name] + 0.1 * (turn - 2.5),
            run_id=10 * turn + place,
            at=float(10 * turn + place),
        )
        for turn in range(6)
        for place, one in enumerate(made)
    ]
    row = compare(made, samples, baseline=made[1].key).rows[0]
    title = words.measure_title(row, {one.key: one.name for one in made})
    assert title == f"Gears: best, {value}, with “{best}”"
