"""Units, knobs, settings: what they mean and what they refuse."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.units import Conditions, Knob, Setting, Unit, validated

CORE = Knob("cpu-core", "cpu", "mV", "down", 5, 250)
CACHE = Knob("cpu-cache", "cpu", "mV", "down", 5, 100, linked_to="cpu-core")
CLOCK = Knob("gpu-core", "gpu", "MHz", "up", 15, 310)
UNIT = Unit(name="shoebox-3", knobs=(CORE, CACHE, CLOCK))


def test_depth_not_sign() -> None:
    assert CORE.value_at(95) == -95 and CORE.depth_of(-95) == 95
    assert CLOCK.value_at(120) == 120 and CLOCK.depth_of(120) == 120
    assert math.copysign(1, CORE.value_at(0)) == 1, "stock is 0, never -0"
    assert (CORE.describe(95), CLOCK.describe(120), CORE.describe(0)) == ("-95 mV", "+120 MHz", "stock")
    assert CLOCK.deepest == 300


@given(st.floats(0, 1e4), st.sampled_from([CORE, CLOCK]))
def test_value_and_depth_are_inverse(depth: float, knob: Knob) -> None:
    assert knob.depth_of(knob.value_at(depth)) == depth


@pytest.mark.parametrize(
    "changes",
    [
        {"toward": "up"},
        {"toward": "sideways"},
        {"step": 0},
        {"step": -5},
        {"step": math.nan},
        {"step": True},
        {"limit": math.inf},
        {"limit": 4},
        {"name": ""},
        {"name": "two\nlines"},
        {"linked_to": "cpu-core"},
        {"step": "5"},
        {"cores": [1, 1]},
        {"cores": [-1]},
        {"cores": [True]},
        {"colour": "red"},
    ],
)
def test_a_knob_that_makes_no_sense_is_refused(changes: dict[str, object]) -> None:
    fields: dict[str, object] = {
        "name": "cpu-core",
        "domain": "cpu",
        "unit": "mV",
        "toward": "down",
        "step": 5,
        "limit": 250,
    }
    with pytest.raises(BadInput, match="knob"):
        Knob(**{**fields, **changes})  # type: ignore[arg-type]


def test_a_knob_is_checked_alike_by_itself_and_on_a_card() -> None:
    knob = Knob(" cpu-core ", "cpu", "mV", "down", 5, 250, cores=[2, 3])  # type: ignore[arg-type]
    assert (knob.name, knob.step, knob.cores) == ("cpu-core", 5.0, (2, 3))
    told = {"name": "cpu-core", "domain": "cpu", "unit": "mV", "toward": "down", "step": 5, "limit": 250}
    assert validated(Unit, {"name": "x", "knobs": [{**told, "cores": [2, 3]}]}, "card.toml").knobs == (knob,)
    for wrong, words in (
        ({"toward": "up"}, "above stock"),
        ({"colour": "red"}, "not known"),
        ({"limit": 4}, "one step"),
    ):
        with pytest.raises(BadInput, match=words):
            Knob(**{**told, **wrong})  # type: ignore[arg-type]
        with pytest.raises(BadInput, match=rf"card.toml: knobs\.0.*{words}"):
            validated(Unit, {"name": "x", "knobs": [{**told, **wrong}]}, "card.toml")


@given(st.floats(min_value=1e-6, max_value=1e6))
def test_never_a_voltage_above_stock(above: float) -> None:
    with pytest.raises(BadInput, match="above stock"):
        CORE.depth_of(above)
    with pytest.raises(BadInput):
        UNIT.depths(Setting(values={"cpu-core": above}))


def test_linked_knobs_move_together_no_deeper_than_their_limit() -> None:
    assert UNIT.setting_at({"cpu-core": 60}).values == {"cpu-cache": -60, "cpu-core": -60}
    assert UNIT.setting_at({"cpu-core": 140}).values == {"cpu-cache": -100, "cpu-core": -140}
    assert [knob.name for knob in UNIT.leaders()] == ["cpu-core", "gpu-core"]


def test_settings_compare_by_what_they_set() -> None:
    assert Setting(values={"a": 0.0}) == Setting() and Setting().is_stock
    assert hash(Setting(values={"a": -5, "b": 10})) == hash(Setting(values={"b": 10, "a": -5}))
    assert UNIT.setting_at({"gpu-core": 45}).describe(UNIT) == "gpu-core +45 MHz"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"name": "x", "knobs": [{"name": "a"}]}, "domain"),
        ({"name": "x", "colour": "red"}, "not known"),
        ({"name": ""}, "1 to 80"),
        ({"name": "x", "ceilings_celsius": {"cpu": 400}}, "ceilings_celsius.cpu"),
        ({"name": "x", "hands": {"kind": "command"}}, "need 'apply'"),
        ({"name": "x", "goal": {"confidence": 1.5}}, "confidence"),
    ],
)
def test_a_card_with_a_mistake_is_refused_in_words(data: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput, match=words) as caught:
        validated(Unit, data, "card.toml")
    assert "card.toml" in caught.value.message() and "pydantic" not in caught.value.message()


def test_links_must_lead_somewhere() -> None:
    for knobs in (
        (CACHE,),
        (CORE, CACHE, Knob("x", "cpu", "mV", "down", 5, 50, linked_to="cpu-cache")),
        (CORE, Knob("x", "gpu", "MHz", "up", 5, 50, linked_to="cpu-core")),
        (CORE, CORE),
    ):
        with pytest.raises(ValueError, match=r"linked|same name"):
            Unit(name="x", knobs=knobs)


def test_a_room_that_cannot_be_is_refused() -> None:
    with pytest.raises(BadInput):
        validated(Conditions, {"ambient_celsius": 300}, "--ambient")


def test_a_knob_rounds_to_its_own_steps() -> None:
    knob = Knob("core", "cpu", "mV", "down", 4, 142)
    assert [knob.whole(depth) for depth in (0, 3.9, 4, 4.1, 11.999999999, -3)] == [0, 0, 4, 4, 12, 0]
    assert [knob.shallower(depth) for depth in (0, 3.9, 4, 4.1, 60)] == [0, 0, 0, 4, 56]
    assert [knob.nearest(depth) for depth in (0, 1.9, 2, 5.9, 500)] == [0, 0, 4, 4, 140]
    assert knob.deepest == 140
