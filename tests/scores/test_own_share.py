"""Which configurations are set beside each other to say what a setting brought."""

from __future__ import annotations

from itertools import permutations

from surefoot.scores.configurations import Configuration, Parts, key_of
from surefoot.scores.own_share import Pair, pairs_of
from surefoot.units import Setting

STOCK, DEEP, OTHER = Setting(), Setting(values={"cpu-core": -52}), Setting(values={"cpu-core": -36})


def configuration(mode: str, cooling: str, setting: Setting, load: str = "both", runs: int = 3) -> Configuration:
    parts = Parts(mode, cooling, setting, load, "R-1")
    name = f"{mode} {cooling} {setting.value('cpu-core'):g} {load}"
    return Configuration(
        key_of(parts), name, name, None, mode, cooling, setting, load, "R-1", tuple(range(1, runs + 1))
    )


BASE = configuration("open", "dusty", STOCK)
CLEAN = configuration("open", "clean", STOCK)
CLEAN_DEEP = configuration("open", "clean", DEEP)
LATE = configuration("late", "clean", STOCK)
LATE_DEEP = configuration("late", "clean", DEEP)


def test_the_partner_differs_in_the_setting_alone_whatever_the_order() -> None:
    for order in permutations((BASE, CLEAN, CLEAN_DEEP, LATE, LATE_DEEP)):
        assert pairs_of(order, DEEP, power_mode="open", cooling="clean") == (Pair(CLEAN_DEEP, CLEAN),)
        assert pairs_of(order, DEEP, power_mode="late", cooling="clean") == (Pair(LATE_DEEP, LATE),)


def test_what_else_changed_is_said() -> None:
    (pair,) = pairs_of((BASE, CLEAN_DEEP), DEEP)
    assert not pair.alone and pair.also == ("cooling clean instead of dusty",)


def test_another_setting_or_load_shows_nothing_of_this_one() -> None:
    assert pairs_of((BASE, CLEAN, configuration("open", "clean", OTHER)), DEEP) == ()
    assert pairs_of((configuration("open", "clean", STOCK, "cpu"), CLEAN_DEEP), DEEP) == ()
    assert pairs_of((BASE, CLEAN), STOCK) == ()


def test_each_load_has_its_own_pair() -> None:
    cpu = [configuration("open", "clean", setting, "cpu") for setting in (STOCK, DEEP)]
    found = pairs_of((CLEAN, CLEAN_DEEP, *cpu), DEEP)
    assert {pair.tuned.load for pair in found} == {"both", "cpu"} and all(pair.alone for pair in found)
