"""The tool's end of the pipe as a process, to be killed: elevated_client.py SOURCE TREE WHAT HELPER..."""

from __future__ import annotations

import sys
import time
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])

from surefoot.rig.elevated.means import elevated_command
from surefoot.rig.elevated.pipe import HelperPipe, ProcessEnds
from surefoot.rig.hands.documented import tree_finder
from surefoot.rig.hands.elevated import ElevatedHands
from surefoot.units import HandsCard, Knob, Setting, Unit

UNIT = Unit(
    name="bench-e",
    knobs=(Knob("pkg", "cpu", "W", "down", 1, 15),),
    hands=HandsCard(kind="documented", doors={"pkg": "powercap:long-term"}, elevate="sudo"),
)


def main() -> None:
    what, helper = sys.argv[3], sys.argv[4:]
    command = elevated_command("sudo", attended=False, helper=helper) if what == "sudo" else helper
    pipe = HelperPipe(ProcessEnds(command), needs_rights=what == "sudo")
    hands = ElevatedHands(UNIT, pipe=pipe, find=tree_finder(Path(sys.argv[2])))
    read = hands.apply(UNIT, Setting(values={"pkg": -6}))
    print(pipe.process, read.value("pkg") if read else None, flush=True)
    time.sleep(60)


if __name__ == "__main__":
    main()
