"""What a machine offers, and whether a folder can be written to."""

from __future__ import annotations

import os

import pytest
from tree import laptop

import surefoot.rig.survey as room
from surefoot.errors import MachineError
from surefoot.rig.places import look_at
from surefoot.rig.second_machine import second_machine
from surefoot.rig.survey import SensorReading, rows, survey


@pytest.fixture(autouse=True)
def graphics(monkeypatch):
    """A machine whose graphics are known at once; asking the drivers of the real one takes seconds."""
    devices: list[dict[str, str]] = []
    monkeypatch.setattr(room, "why_not", lambda name: "")
    monkeypatch.setattr(room, "graphics_devices", lambda: devices)
    return devices


CARD = {"name": "Hollow G4", "kind": "card", "backend": "Vulkan"}
SOFTWARE = {"name": "rasteriser", "kind": "software", "backend": "Vulkan"}


@pytest.mark.parametrize(
    ("devices", "reason"),
    [([], "no graphics device was found"), ([SOFTWARE], "worked out by the processor"), ([CARD, SOFTWARE], "")],
)
def test_a_graphics_load_is_offered_where_there_is_a_device_of_its_own(tmp_path, graphics, devices, reason):
    graphics += devices
    found = survey(tmp_path, settle_seconds=0)
    offers = {offer.name: offer.why_not for offer in found.loads}
    assert list(found.graphics) == devices
    for name in ("gpu", "gpu-memory", "cpu-gpu"):
        assert reason in offers[name]
        assert bool(reason) == bool(offers[name])
    assert offers["cpu"] == ""


def test_graphics_drivers_that_break_down_when_asked_are_no_error(tmp_path, monkeypatch):
    def broken():
        raise MachineError("the graphics devices could not be listed: no words.")

    monkeypatch.setattr(room, "graphics_devices", broken)
    offers = {offer.name: offer.why_not for offer in survey(tmp_path, settle_seconds=0).loads}
    assert "could not be listed" in offers["gpu"]


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


def test_what_is_here_for_a_second_machine(monkeypatch):
    there: set[str] = set()
    monkeypatch.setattr("surefoot.rig.second_machine.shutil.which", lambda name, path=None: name in there or None)
    assert [words.split(":")[0] for words in second_machine()] == [
        "ssh is not here",
        "no ssh server is installed here",
    ]
    there.update(("ssh", "sshd"))
    assert [words.split(":")[0] for words in second_machine()] == ["ssh is here", "an ssh server is installed here"]
