"""The bench gives hands that act by themselves a guardian, and lets it go where a setting is to stay."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from surefoot.guide.apply import apply_setting
from surefoot.guide.bench import Bench
from surefoot.guide.machine import RealMachine
from surefoot.guide.voice import Unattended
from surefoot.journal import Journal
from surefoot.rig.guardian import GuardedHands
from surefoot.units import HandsCard, Knob, Setting, Unit

pytestmark = pytest.mark.skipif(os.name != "posix", reason="the stand-in for a machine is a shell script")


def test_a_setting_that_is_to_stay_outlives_the_guardian(tmp_path: Path) -> None:
    value = tmp_path / "value"
    script = tmp_path / "set.sh"
    script.write_text(f'echo "$1" > "{value}"\n')
    unit = Unit(
        name="bench-b",
        knobs=(Knob("core", "cpu", "mV", "down", 5, 60),),
        hands=HandsCard(kind="command", apply=("sh", str(script), "{core}"), read_back=("cat", str(value))),
    )
    with Journal.open(tmp_path / "home") as journal:
        journal.add_unit(unit)
        bench = Bench(journal, unit, RealMachine(tmp_path), Unattended())
        hands = bench.hands
        assert isinstance(hands, GuardedHands) and bench.guardian_log.parent == journal.path.parent
        hands.start(unit)
        guardian = hands.guardian
        assert guardian is not None
        setting = Setting(values={"core": -5})
        bench.make_exception(setting, "the test's")
        apply_setting(bench, setting)
        assert hands.guardian is None
    assert value.read_text().strip() == "-5"
