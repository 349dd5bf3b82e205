"""Stock after a crash is what was found at first: written before the first change, given back at the next start."""

from __future__ import annotations

import io
import json
import signal
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from surefoot.guide.bench import Bench
from surefoot.guide.machine import RealMachine
from surefoot.guide.stock import to_stock
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.rig.guardian import GuardedHands
from surefoot.rig.guardian import __main__ as guardian
from surefoot.rig.hands.documented import DocumentedHands, tree_finder
from surefoot.rig.protocols import Hands
from surefoot.units import HandsCard, Knob, Setting, Unit

DOOR = "powercap:long-term"
CARD = Unit(
    name="bench-f",
    knobs=(Knob("pkg", "cpu", "W", "down", 1, 15),),
    hands=HandsCard(kind="documented", doors={"pkg": DOOR}),
)
DOWN = Setting(values={"pkg": -6})


class Tree(RealMachine):
    """This machine, with a made-up tree for its doors and a boot that can be changed."""

    boot = "one"

    def __init__(self, root: Path) -> None:
        super().__init__(root)
        self.zone = root / "sys/class/powercap/intel-rapl:0"
        self.limit = self.zone / "constraint_0_power_limit_uw"

    def boot_id(self) -> str:
        return self.boot

    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> Hands:
        assert self._root is not None
        return DocumentedHands(unit, prompt, found=found, find=tree_finder(self._root))


@pytest.fixture(autouse=True)
def no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """A guardian's process would look for the doors of the real machine; what it is told has its own test."""
    monkeypatch.setattr(GuardedHands, "_tell", lambda *_: None)


@pytest.fixture
def machine(tmp_path: Path) -> Tree:
    made = Tree(tmp_path / "tree")
    made.zone.mkdir(parents=True)
    (made.zone / "name").write_text("package-0\n")
    (made.zone / "constraint_0_name").write_text("long_term\n")
    made.limit.write_text("37000000\n")
    return made


@pytest.fixture
def journal(tmp_path: Path):
    with Journal.open(tmp_path / "home") as opened:
        opened.add_unit(CARD)
        yield opened


def bench(journal: Journal, machine: Tree) -> Bench:
    made = Bench(journal, CARD, machine, Unattended())
    made.make_exception(DOWN, "the test's")
    return made


def test_found_values_are_on_disk_before_the_first_change(journal, machine, monkeypatch):
    first = bench(journal, machine)
    at_the_change = []

    class Watched(DocumentedHands):
        def apply(self, unit: Unit, setting: Setting) -> Setting | None:
            at_the_change.append([entry.values for entry in journal.found_values(unit.name)])
            return super().apply(unit, setting)

    hands = Watched(CARD, find=tree_finder(machine._root))
    monkeypatch.setattr(Tree, "hands", lambda *_: hands)
    assert journal.found_values(CARD.name) == []
    first.apply(DOWN)
    first.apply(Setting())
    assert at_the_change == [[{DOOR: 37.0}]] * 2, "once, and before"
    first.leave_applied()


def test_the_next_start_on_this_boot_goes_back_to_what_was_found_at_first(journal, machine):
    first = bench(journal, machine)
    first.apply(DOWN)
    assert machine.limit.read_text().strip() == "31000000"
    first.leave_applied()
    again = bench(journal, machine)
    assert isinstance(again.hands, GuardedHands) and again.hands.found == {"pkg": 37.0}
    assert again.hands.read_back(CARD) == DOWN
    assert to_stock(again)
    assert machine.limit.read_text().strip() == "37000000"


def test_another_boot_finds_anew(journal, machine):
    first = bench(journal, machine)
    first.apply(DOWN)
    first.leave_applied()
    machine.limit.write_text("28000000\n")
    machine.boot = "two"
    again = bench(journal, machine)
    assert again.hands.found == {"pkg": 28.0}  # type: ignore[attr-defined]
    again.apply(Setting())
    assert [(entry.boot_id, entry.values) for entry in journal.found_values(CARD.name)] == [
        ("one", {DOOR: 37.0}),
        ("two", {DOOR: 28.0}),
    ]


def test_a_bundle_carries_them(journal, machine, tmp_path):
    first = bench(journal, machine)
    first.apply(Setting())
    save_bundle(journal, CARD.name, tmp_path / "one.bundle")
    with Journal.open(tmp_path / "other") as other:
        load_bundle(other, tmp_path / "one.bundle")
        assert [entry.values for entry in other.found_values(CARD.name)] == [{DOOR: 37.0}]


def test_the_guardian_is_told_what_was_found(machine, monkeypatch, tmp_path):
    told: dict[str, Any] = {}

    def made(unit: Unit, *, found: Mapping[str, float]) -> Hands:
        told.update(found)
        return DocumentedHands(unit, found=found, find=tree_finder(machine._root))

    monkeypatch.setattr(guardian, "make_hands", made)
    # In this process its own handling of signals would last, and be inherited by what other tests start.
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    machine.limit.write_text("31000000\n")
    first = {"unit": CARD.model_dump(mode="json"), "log": str(tmp_path / "log"), "found": {"pkg": 37.0}}
    monkeypatch.setattr(sys, "stdin", io.StringIO(json.dumps(first) + "\noff-stock\n"))
    assert guardian.main() == 0
    assert told == {"pkg": 37.0} and machine.limit.read_text().strip() == "37000000"
