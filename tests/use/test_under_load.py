"""Which minutes of use count as under load, and what starts the watching with a login."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from configparser import ConfigParser
from pathlib import Path

import numpy as np
import pytest

from surefoot.errors import BadInput
from surefoot.rig import autostart
from surefoot.runs import Trace
from surefoot.thermal.under_load import BUSY_WITHOUT_BENCH, SHARE_OF_BENCH, bench_levels, under_load

BENCH = Trace(np.arange(3.0), {"cpu.busy": np.array([90.0, 100, 100]), "cpu.power": np.array([80.0, 100, 120])})


def test_busy_and_power_must_reach_the_share_of_the_bench_runs() -> None:
    levels = bench_levels([BENCH])
    busy, watts = SHARE_OF_BENCH * 100, SHARE_OF_BENCH * 100
    assert under_load({"cpu.busy": busy, "cpu.power": watts}, "cpu", levels)
    assert not under_load({"cpu.busy": busy - 1, "cpu.power": watts}, "cpu", levels)
    assert not under_load({"cpu.busy": busy, "cpu.power": watts - 1}, "cpu", levels)
    assert under_load({"cpu.busy": busy}, "cpu", levels), "no power sensor now: busy alone decides"
    assert not under_load({"cpu.power": 500}, "cpu", levels), "without busy it does not count"


def test_without_bench_traces_a_fixed_share_counts() -> None:
    assert bench_levels([]) == {}
    assert under_load({"gpu.busy": BUSY_WITHOUT_BENCH}, "gpu", {})
    assert not under_load({"gpu.busy": BUSY_WITHOUT_BENCH - 1}, "gpu", {})


def test_the_service_is_one_that_systemd_can_read(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.delenv("SUREFOOT_HOME", raising=False)
    what = autostart.autostart('My "box" 100%', ["--to-stock"], system="linux")
    parsed = ConfigParser(interpolation=None, delimiters=("=",), comment_prefixes=("#",))
    parsed.optionxform = str  # type: ignore[assignment, method-assign]
    parsed.read_string(what.text)
    command = parsed["Service"]["ExecStart"]
    assert '"--after-login" "--unattended" "--to-stock"' in command
    assert '"My \\"box\\" 100%%"' in command, "quoted, and no specifier of systemd's"
    assert parsed["Install"]["WantedBy"] == "default.target" and parsed["Service"]["Restart"] == "no"
    assert what.path == tmp_path / "systemd" / "user" / "surefoot-live-my-box-100.service"
    assert not what.path.exists(), "printing installs nothing"


def test_the_task_is_well_formed_and_asks_for_no_rights() -> None:
    what = autostart.autostart("box & <co>", system="windows")
    root = ElementTree.fromstring(what.text.replace(' encoding="UTF-16"', ""))
    space = {"t": "http://schemas.microsoft.com/windows/2004/02/mit/task"}
    assert root.findtext(".//t:RunLevel", namespaces=space) == "LeastPrivilege"
    assert root.find(".//t:LogonTrigger", space) is not None and root.find(".//t:BootTrigger", space) is None
    assert "box & <co>" in (root.findtext(".//t:Arguments", namespaces=space) or "")


def test_installing_writes_the_file_and_removing_takes_it_out(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    ran: list[tuple[str, ...]] = []
    monkeypatch.setattr(autostart, "_run", lambda commands, remedy: ran.extend(commands))
    what = autostart.autostart("box", system="linux")
    autostart.install(what)
    assert what.path.read_text() == what.text and ("systemctl", "--user", "daemon-reload") in ran
    autostart.remove(what)
    assert not what.path.exists() and ("systemctl", "--user", "disable", "--now", "surefoot-live-box.service") in ran


def test_a_system_without_a_known_way_says_so() -> None:
    with pytest.raises(BadInput, match="not known"):
        autostart.autostart("box", system="darwin")
