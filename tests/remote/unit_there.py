"""A stand-in for a unit on another machine: its offset is a file, its boot another, its agent a process here."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

from surefoot.guide.remote.machine import Patience, RemoteMachine
from surefoot.units import HandsCard, Knob, LoadCard, RemoteCard, Unit

QUICK = Patience(grace=3.0, switch_after=2.0, at_most=60.0)


class UnitThere:
    """``start``: an agent's command line, as sshd would run it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.value, self.boot, self.asked = folder / "value", folder / "boot", folder / "asked"
        self.gone = folder / "gone"
        self.value.write_text("0\n")
        self.boot.write_text("one")
        setter = folder / "set.sh"
        setter.write_text(f'echo "$1" >> "{self.asked}"\necho "$1" > "{self.value}"\n')
        self.start = folder / "agent.sh"
        self.start.write_text(
            f'[ -e "{self.gone}" ] && exit 255\n'
            f'export SUREFOOT_REHEARSE_BOOT="$(cat "{self.boot}")" SUREFOOT_HOME="{folder / "there"}"\n'
            f'export PYTHONPATH="{os.environ.get("PYTHONPATH", "")}"\n'
            f'exec "{sys.executable}" -m surefoot agent\n'
        )
        switch = folder / "switch.sh"
        switch.write_text(f'echo two > "{self.boot}"\nrm -f "{self.gone}"\n')
        self.switch = ("sh", str(switch))
        self.unit = Unit(
            name="far",
            knobs=(Knob("core", "cpu", "mV", "down", 5, 60, load="turns"),),
            hands=HandsCard(kind="command", apply=("sh", str(setter), "{core}"), read_back=("cat", str(self.value))),
            loads=(LoadCard(name="turns", command=("sleep", "0.2"), exercises=("core",)),),
            remote=RemoteCard(agent=("sh", str(self.start)), switch_power=self.switch),
        )

    def machine(self, patience: Patience = QUICK) -> RemoteMachine:
        return RemoteMachine(["sh", str(self.start)], "far", self.switch, patience)

    def relayed(self) -> RemoteMachine:
        """With something between the line and the agent, as ssh and sshd are: ending the one does not end the other."""
        return RemoteMachine(["sh", "-c", f'cat | sh "{self.start}" | cat'], "far", self.switch, QUICK)

    def offset(self) -> float:
        return float(self.value.read_text() or "nan")

    def until_stock(self, seconds: float = 10.0) -> float:
        began = time.monotonic()
        while time.monotonic() - began < seconds:
            if self.offset() == 0:
                return time.monotonic() - began
            time.sleep(0.02)
        raise AssertionError(f"still at {self.offset()} after {seconds} s")

    def until_off_stock(self, seconds: float = 60.0) -> None:
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            if self.offset() != 0:
                return
            time.sleep(0.02)
        raise AssertionError("never off stock")
