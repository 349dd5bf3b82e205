"""Hands through documented interfaces, on made-up trees that follow the kernel's documents and a stand-in of NVML."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from surefoot.errors import BadInput, MachineError
from surefoot.journal.card_file import card_of_text, card_text
from surefoot.rig.doors import doors
from surefoot.rig.doors.nvml import NvmlClock, NvmlPower, nvml_doors
from surefoot.rig.doors.overdrive import parse_table
from surefoot.rig.hands import make_hands
from surefoot.rig.hands.documented import DocumentedHands, tree_finder
from surefoot.rig.offers import card_lines, offers
from surefoot.units import HandsCard, Knob, Setting, Unit

sys.path.insert(0, str(Path(__file__).parent.parent / "rig"))

from tree import Tree

# Layout of the kernel's documentation of the overdrive table (gpu/amdgpu/thermal); numbers made up.
TABLE = """OD_SCLK:
0:        300Mhz
1:       2310Mhz
OD_MCLK:
0:         97Mhz
1:       1010MHz
OD_VDDGFX_OFFSET:
-15mV
OD_RANGE:
SCLK:     300Mhz       2700Mhz
MCLK:      97Mhz       1150Mhz
VDDGFX_OFFSET:    -120mv        0mv
"""


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    made = Tree(tmp_path)
    made.power_zone(
        "intel-rapl:0", "package-0", energy_uj=1,
        constraint_0_name="long_term", constraint_0_power_limit_uw=37_000_000, constraint_0_max_power_uw=90_000_000,
        constraint_1_name="short_term", constraint_1_power_limit_uw=52_000_000,
    )  # fmt: skip
    for number in (0, 1):
        made.folder(
            f"sys/devices/system/cpu/cpufreq/policy{number}",
            {"scaling_max_freq": 4_100_000, "cpuinfo_max_freq": 4_100_000, "cpuinfo_min_freq": 700_000},
        )
    made.put("sys/class/drm/card0/device/pp_od_clk_voltage", TABLE)
    made.folder(
        "sys/class/drm/card0/device/hwmon/hwmon3",
        {"power1_cap": 66_000_000, "power1_cap_default": 66_000_000, "power1_cap_min": 30_000_000},
    )
    return made


def unit(*knobs: Knob, **given: str) -> Unit:
    return Unit(name="bench", knobs=knobs, hands=HandsCard(kind="documented", doors=given))


POWER = Knob("pkg", "cpu", "W", "down", 1, 15)
VOLTAGE = Knob("vcore", "gpu", "mV", "down", 5, 90)


def test_what_this_machine_documents(tree):
    names = {one.name: (one.unit, one.toward) for one in doors(tree.root)}
    assert names == {
        "powercap:long-term": ("W", "down"),
        "powercap:short-term": ("W", "down"),
        "cpufreq:maximum": ("MHz", "down"),
        "overdrive:core-clock": ("MHz", "up"),
        "overdrive:memory-clock": ("MHz", "up"),
        "overdrive:core-voltage": ("mV", "down"),
        "overdrive:power": ("W", "down"),
    }


def test_a_power_limit_goes_down_is_read_back_and_comes_home(tree):
    hands = DocumentedHands(unit(POWER, pkg="powercap:long-term"), find=tree_finder(tree.root))
    card = unit(POWER, pkg="powercap:long-term")
    file = tree.root / "sys/class/powercap/intel-rapl:0/constraint_0_power_limit_uw"
    assert hands.found == {"pkg": 37.0}
    assert hands.apply(card, Setting(values={"pkg": -6})) == Setting(values={"pkg": -6})
    assert file.read_text().strip() == "31000000"
    assert hands.apply(card, Setting()) == Setting()
    assert file.read_text().strip() == "37000000"


def test_stock_is_what_the_journal_says_was_found_and_not_what_is_there_after_a_crash(tree):
    tree.put("sys/class/powercap/intel-rapl:0/constraint_0_power_limit_uw", 31_000_000)
    card = unit(POWER, pkg="powercap:long-term")
    hands = DocumentedHands(card, found={"pkg": 37.0}, find=tree_finder(tree.root))
    assert hands.read_back(card) == Setting(values={"pkg": -6})


def test_past_the_card_or_the_interface_nothing_is_written(tree):
    card = unit(Knob("vcore", "gpu", "mV", "down", 5, 200), vcore="overdrive:core-voltage")
    hands = DocumentedHands(card, find=tree_finder(tree.root))
    file = tree.root / "sys/class/drm/card0/device/pp_od_clk_voltage"
    with pytest.raises(BadInput, match="takes -120 to 0"):
        hands.apply(card, Setting(values={"vcore": -150}))
    with pytest.raises(BadInput, match="limit"):
        hands.apply(card, Setting(values={"vcore": -250}))
    with pytest.raises(BadInput, match="above"):
        hands.apply(card, Setting(values={"vcore": 10}))
    assert file.read_text().strip() == TABLE.strip()


def test_what_is_written_to_the_overdrive_table(tree, monkeypatch):
    # Kernel documentation, amdgpu thermal controls: "vo" sets the offset, "s 1" the highest state, "c" commits.
    said: list[str] = []
    monkeypatch.setattr("surefoot.rig.doors.overdrive.write_text", lambda path, text: said.append(text.strip()))
    card = unit(
        VOLTAGE, Knob("gclk", "gpu", "MHz", "up", 15, 150), vcore="overdrive:core-voltage", gclk="overdrive:core-clock"
    )
    hands = DocumentedHands(card, find=tree_finder(tree.root))
    hands.apply(card, Setting(values={"vcore": -40, "gclk": 90}))
    assert said == ["s 1 2400", "c", "vo -40", "c"] or said == ["vo -40", "c", "s 1 2400", "c"]


def test_table_of_overdrive():
    table = parse_table(TABLE)
    assert table.highest == {"SCLK": (1, 2310.0), "MCLK": (1, 1010.0)}
    assert table.offset_mv == -15.0
    assert table.ranges["VDDGFX_OFFSET"] == (-120.0, 0.0) and table.ranges["SCLK"] == (300.0, 2700.0)
    assert parse_table("rubbish").highest == {}


def test_a_lower_cap_than_found_is_all_that_a_power_limit_takes(tree):
    one = next(door for door in doors(tree.root) if door.name == "overdrive:power")
    assert (one.range().low, one.range().high) == (30.0, 66.0)
    limit = next(door for door in doors(tree.root) if door.name == "powercap:long-term")
    # The zone would take 90 W: never above what was found at first.
    assert limit.range().high == 37.0


def test_clocks_of_every_policy(tree):
    card = unit(Knob("top", "cpu", "MHz", "down", 100, 1500), top="cpufreq:maximum")
    hands = DocumentedHands(card, find=tree_finder(tree.root))
    assert hands.apply(card, Setting(values={"top": -600})) == Setting(values={"top": -600})
    for number in (0, 1):
        text = (tree.root / f"sys/devices/system/cpu/cpufreq/policy{number}/scaling_max_freq").read_text()
        assert text.strip() == "3500000"


def test_a_file_closed_to_this_user_is_said(tree, monkeypatch):
    monkeypatch.setattr("surefoot.rig.doors.files.os.access", lambda path, how: False)
    card = unit(POWER, pkg="powercap:long-term")
    hands = DocumentedHands(card, find=tree_finder(tree.root))
    with pytest.raises(MachineError, match="administrator"):
        hands.apply(card, Setting(values={"pkg": -6}))
    # Stock, which is there already, is no trouble.
    assert hands.apply(card, Setting()) == Setting()


def test_a_door_that_fails_half_way_leaves_nothing_behind(tree):
    class Broken:
        def __init__(self, real):
            self.real = real
            self.unit, self.toward, self.says = real.unit, real.toward, real.says

        def write(self, value):
            raise MachineError("locked")

        def __getattr__(self, name):
            return getattr(self.real, name)

    find = tree_finder(tree.root)
    card = unit(POWER, VOLTAGE, pkg="powercap:long-term", vcore="overdrive:core-voltage")
    hands = DocumentedHands(card, find=lambda name: Broken(find(name)) if name.startswith("overdrive") else find(name))
    with pytest.raises(MachineError, match="locked"):
        hands.apply(card, Setting(values={"pkg": -6, "vcore": -40}))
    file = tree.root / "sys/class/powercap/intel-rapl:0/constraint_0_power_limit_uw"
    assert file.read_text().strip() == "37000000"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "has no door"),
        ({"pkg": "powercap:elsewhere"}, "documents no way"),
        ({"pkg": "overdrive:core-clock"}, "counts in MHz"),
    ],
)
def test_cards_that_do_not_fit(tree, given, words):
    with pytest.raises(BadInput, match=words):
        DocumentedHands(unit(POWER, **given), find=tree_finder(tree.root))


def test_the_registry_knows_the_kind():
    with pytest.raises(BadInput, match="door"):
        make_hands(unit(POWER))


def test_offered_lines_are_a_card(tree):
    tree.put("sys/class/drm/card0/device/pp_od_clk_voltage", TABLE.replace("-15mV", "0mV"))
    found = offers(tree.root)
    card = card_of_text(card_lines(found), "bench", where="the offer")
    assert {knob.name for knob in card.knobs} == {one.door.replace(":", "-") for one in found}
    assert card.hands.kind == "documented" and card.hands.doors["powercap-long-term"] == "powercap:long-term"
    assert card_of_text(card_text(card), "bench", where="again") == card
    hands = DocumentedHands(card, find=tree_finder(tree.root))
    assert hands.apply(card, Setting()) == Setting(values={})


class Library:
    """A stand-in of NVML with the newer calls, or the older where ``old``."""

    class NVMLError(Exception):
        pass

    def __init__(self, old: bool = False) -> None:
        self.offsets, self.limit, self.set_calls = {0: 0, 2: 0}, 85_000, 0
        if not old:
            self.nvmlDeviceGetClockOffsets = self._get
            self.nvmlDeviceSetClockOffsets = self._set
            self.c_nvmlClockOffset_t = lambda clockType, pstate: SimpleNamespace(clockType=clockType, pstate=pstate)

    def nvmlInit(self): ...

    def nvmlDeviceGetCount(self):
        return 1

    def nvmlDeviceGetHandleByIndex(self, index):
        return "card"

    def _get(self, card, asked):
        asked.clockOffsetMHz = self.offsets[asked.clockType]
        asked.minClockOffsetMHz, asked.maxClockOffsetMHz = -500, 400
        return asked

    def _set(self, card, told):
        # The hardware's own step: asked for 100 it takes 90.
        self.offsets[told.clockType] = told.clockOffsetMHz // 15 * 15
        self.set_calls += 1

    def nvmlDeviceGetGpcClkMinMaxVfOffset(self, card):
        return -500, 400

    def nvmlDeviceGetGpcClkVfOffset(self, card):
        return self.offsets[0]

    def nvmlDeviceSetGpcClkVfOffset(self, card, value):
        self.offsets[0] = value

    def nvmlDeviceGetPowerManagementLimitConstraints(self, card):
        return 40_000, 120_000

    def nvmlDeviceGetPowerManagementDefaultLimit(self, card):
        return 85_000

    def nvmlDeviceGetPowerManagementLimit(self, card):
        return self.limit

    def nvmlDeviceSetPowerManagementLimit(self, card, value):
        self.limit = value


@pytest.mark.parametrize("old", [False, True])
def test_graphics_clock_offset(old):
    library = Library(old)
    one = next(door for door in nvml_doors(library) if door.name == "nvml:core-clock")
    assert isinstance(one, NvmlClock) and one.why_not() == ""
    card = unit(Knob("gclk", "gpu", "MHz", "up", 15, 200), gclk="nvml:core-clock")
    hands = DocumentedHands(card, find=lambda name: one)
    assert hands.apply(card, Setting(values={"gclk": 90})) == Setting(values={"gclk": 90})
    assert library.offsets[0] == 90


def test_what_the_hardware_took_is_what_is_read_back():
    library = Library()
    one = next(door for door in nvml_doors(library) if door.name == "nvml:core-clock")
    card = unit(Knob("gclk", "gpu", "MHz", "up", 5, 200), gclk="nvml:core-clock")
    read_back = DocumentedHands(card, find=lambda name: one).apply(card, Setting(values={"gclk": 100}))
    assert read_back is not None and read_back.value("gclk") == 90


def test_the_graphics_power_limit_never_goes_above_its_default():
    one = next(door for door in nvml_doors(Library()) if isinstance(door, NvmlPower))
    # The card would take 120 W.
    assert (one.range().low, one.range().high) == (40.0, 85.0)


def test_no_card_no_doors(monkeypatch):
    library = Library()
    monkeypatch.setattr(library, "nvmlDeviceGetCount", lambda: 0)
    assert list(nvml_doors(library)) == []
