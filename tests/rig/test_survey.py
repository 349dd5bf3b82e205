"""What a machine offers, and whether a folder can be written to."""

from __future__ import annotations

import os

import pytest
from tree import laptop

from surefoot.rig.places import look_at
from surefoot.rig.survey import SensorReading, rows, survey


def test_a_laptop_offers_its_sensors_with_values_units_and_sources(tmp_path):
    tree = laptop(tmp_path)
    tree.put("dev/kmsg", "")
    found = survey(tmp_path, settle_seconds=0.05)
    by_channel = {reading.channel: reading for reading in found.sensors}
    package = by_channel["cpu.temperature"]
    assert (package.value, package.unit, package.source) == (71.0, "°C", "hwmon")
    # The counter stood still in between: power is there and is nothing.
    assert (by_channel["cpu.power"].value, by_channel["cpu.power"].source) == (0.0, "powercap")
    assert found.missing == ()
    assert found.boot_identity
    assert found.processors


def test_a_bare_machine_says_what_cannot_be_judged(tmp_path):
    found = survey(tmp_path, settle_seconds=0)
    assert found.sensors == ()
    assert any("processor temperature" in text for text in found.missing)
    assert any("closed to this user" in text for text in found.missing)


def test_the_loads_are_listed_with_what_they_exercise(tmp_path):
    offers = {offer.name: offer for offer in survey(tmp_path, settle_seconds=0).loads}
    assert offers["cpu"].exercises == ("cpu", "transition")
    assert offers["cpu"].why_not == ""
    assert offers["by-hand"].by_hand


def reading(channel: str, value: float | None, unit: str = "MHz") -> SensorReading:
    return SensorReading(channel, value, unit, "cpufreq")


def test_many_cores_are_one_line_with_their_range():
    cores = [reading(f"cpu.clock.core-{n}", 3000.0 + n) for n in range(8)] + [reading("cpu.clock.core-3-2", None)]
    found = rows([reading("cpu.clock", 3003.5), *cores])
    assert [(row.channels, row.low, row.high) for row in found] == [
        ("cpu.clock", 3003.5, 3003.5),
        ("cpu.clock.core-* (9)", 3000.0, 3007.0),
    ]
    assert len(rows(cores[:4])) == 4
    assert len(rows(cores, most=100)) == 9


def test_a_folder_that_can_be_written_to_is_left_as_it_was(tmp_path):
    place = look_at(tmp_path)
    assert (place.exists, place.writable, place.why_not) == (True, True, "")
    assert place.free_bytes
    assert list(tmp_path.iterdir()) == []


def test_a_folder_not_yet_there_is_not_made(tmp_path):
    place = look_at(tmp_path / "a" / "b")
    assert (place.exists, place.writable) == (False, True)
    assert not (tmp_path / "a").exists()


def test_a_file_in_the_way_is_said(tmp_path):
    (tmp_path / "file").write_text("")
    place = look_at(tmp_path / "file" / "home")
    assert not place.writable
    assert "not a folder" in place.why_not


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the administrator may write anywhere")
def test_a_closed_folder_is_said(tmp_path):
    tmp_path.chmod(0o500)
    assert not look_at(tmp_path).writable
    assert not look_at(tmp_path / "home").writable
