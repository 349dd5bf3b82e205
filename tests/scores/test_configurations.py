"""Grouping of runs into configurations: keys that stay, names in words, the user's order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surefoot.errors import BadInput
from surefoot.runs import Closing, Outcome, Purpose, Run, RunPlan
from surefoot.scores.configurations import (
    Parts,
    configurations,
    find,
    is_measurement,
    key_of,
    parts_from,
    unlike,
)
from surefoot.units import Conditions, Knob, Setting, Unit

START = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
UNIT = Unit(name="bench-a", knobs=(Knob("cpu-core", "cpu", "mV", "down", 5, 150),))


def run(
    number: int,
    values: dict[str, float] | None = None,
    load: str = "mixed",
    outcome: Outcome | None = Outcome.HELD,
    purpose: Purpose = "measure",
    **conditions: Any,
) -> Run:
    plan = RunPlan(
        unit_name="bench-a",
        setting=Setting(values=values or {}),
        load=load,
        planned_minutes=10,
        purpose=purpose,
        conditions=Conditions(**conditions),
    )
    closing = None if outcome is None else Closing(outcome=outcome, minutes=10, judged_by="the load")
    return Run(id=number, opened_at=START + timedelta(hours=number), plan=plan, closing=closing)


def test_runs_group_on_mode_cooling_setting_load_and_firmware() -> None:
    runs = [
        run(1, power_mode="evening", cooling="stock", firmware="1.08"),
        run(2, power_mode="Evening ", cooling="stock", firmware="1.08", ambient_celsius=23.0),
        run(3, {"cpu-core": -95}, power_mode="evening", cooling="stock", firmware="1.08"),
        run(4, {"cpu-core": -95}, power_mode="evening", cooling="lifted", firmware="1.08"),
        run(5, {"cpu-core": -95}, power_mode="evening", cooling="lifted", firmware="1.09"),
        run(6, {"cpu-core": -95}, power_mode="evening", cooling="lifted", firmware="1.09", load="gpu"),
    ]
    found = configurations(runs, {}, UNIT)
    assert [one.run_ids for one in found] == [(1, 2), (3,), (4,), (5,), (6,)]
    assert len({one.name for one in found}) == 5


def test_names_are_in_words_and_leave_out_what_is_alike() -> None:
    runs = [
        run(1, power_mode="evening", cooling="stock", firmware="1.08"),
        run(2, {"cpu-core": -95}, power_mode="evening", cooling="stock", firmware="1.08"),
    ]
    assert [one.name for one in configurations(runs, {}, UNIT)] == [
        "evening mode, stock cooling, stock setting",
        "evening mode, stock cooling, cpu-core -95 mV",
    ]


def test_the_setting_read_back_counts_not_the_one_asked() -> None:
    asked = run(1, {"cpu-core": -100})
    closing = Closing(outcome=Outcome.HELD, minutes=10, judged_by="x", setting=Setting(values={"cpu-core": -95}))
    assert configurations([asked.model_copy(update={"closing": closing})])[0].setting.value("cpu-core") == -95


def test_users_names_and_order_come_first_and_a_named_one_needs_no_run() -> None:
    runs = [run(1), run(2, {"cpu-core": -95})]
    alone = key_of(Parts("evening", None, Setting(), None, None))
    stock, deep = (
        key_of(Parts(None, None, Setting(), "mixed", None)),
        key_of(Parts(None, None, Setting(values={"cpu-core": -95}), "mixed", None)),
    )
    found = configurations(runs, {deep: ("tuned", 1), alone: ("hand-typed", 2)}, UNIT)
    assert [one.name for one in found][:2] == ["tuned", "hand-typed"]
    assert [one.key for one in found] == [deep, alone, stock]
    assert found[1].run_ids == ()


words = st.one_of(st.none(), st.text(min_size=1).map(lambda t: " ".join(t.split()).casefold() or None))


# A card's knob names are words: blank ones are refused there, and blanks around them do not count.
names = st.text(min_size=1).map(lambda t: " ".join(t.split())).filter(bool)


@given(words, words, st.dictionaries(names, st.integers(-500, 500).map(float)), words, words)
def test_keys_are_stable_and_read_back(
    mode: str | None, cooling: str | None, values: dict[str, float], load: str | None, firmware: str | None
) -> None:
    parts = Parts(mode, cooling, Setting(values=values), load, firmware)
    turned = Parts(mode, cooling, Setting(values=dict(reversed(values.items()))), load, firmware)
    assert key_of(parts) == key_of(turned)
    assert parts_from(key_of(parts)) == parts


def test_the_text_of_a_key_does_not_change() -> None:
    # Stored in journals: a change here loses the user's names.
    parts = Parts("evening", "stock", Setting(values={"gpu-core": 120, "cpu-core": -95}), "mixed", "1.08")
    assert key_of(parts) == "mode=evening;cooling=stock;setting=cpu-core:-95,gpu-core:120;load=mixed;firmware=1.08"


def test_a_text_that_is_no_key_is_refused() -> None:
    for text in ("", "evening", "mode=evening", "mode=;cooling=;setting=x;load=;firmware="):
        with pytest.raises(BadInput):
            parts_from(text)


def test_find_takes_name_number_and_part_and_lists_what_there_is() -> None:
    found = configurations([run(1), run(2, {"cpu-core": -95})], {}, UNIT)
    assert find(found, "2") is found[1]
    assert find(found, "STOCK SETTING") is found[0]
    assert find(found, "-95") is found[1]
    assert find(found, found[1].key) is found[1]
    with pytest.raises(BadInput, match="1 stock setting; 2 cpu-core -95 mV"):
        find(found, "9")
    with pytest.raises(BadInput, match="could mean 2"):
        find(found, "c")


def test_which_runs_stand_for_a_configuration() -> None:
    assert is_measurement(run(1))
    assert is_measurement(run(1, outcome=Outcome.SLOW))
    for outcome in (Outcome.RESET, Outcome.OVERHEAT, Outcome.VOID, Outcome.MISCOMPUTE, None):
        assert not is_measurement(run(1, outcome=outcome), True)
    assert not is_measurement(run(1, purpose="search"))
    assert is_measurement(run(1, purpose="search"), True)


def test_unlike_supply_and_driver_are_said() -> None:
    found = configurations(
        [run(1, supply="adapter", driver="1"), run(2, {"cpu-core": -95}, supply="battery", driver="1")], {}, UNIT
    )
    assert unlike(found[1], found[0]) == ("supply battery against adapter",)
