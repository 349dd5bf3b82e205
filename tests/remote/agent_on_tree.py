"""An agent whose unit has a documented interface that only a helper may write to: agent_on_tree.py TREE HELPER..."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from surefoot.guide.machine import RealMachine
from surefoot.guide.remote.agent import Agent
from surefoot.rig.elevated.pipe import HelperPipe, ProcessEnds
from surefoot.rig.hands.documented import tree_finder
from surefoot.rig.hands.elevated import ElevatedHands
from surefoot.rig.protocols import Hands
from surefoot.units import Unit


class OnTree(RealMachine):
    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> Hands:
        pipe = HelperPipe(ProcessEnds(sys.argv[2:]), needs_rights=False)
        return ElevatedHands(unit, prompt, found=found, pipe=pipe, find=tree_finder(Path(sys.argv[1])))


line = os.fdopen(os.dup(1), "wb")
os.dup2(2, 1)
sys.exit(Agent(sys.stdin.buffer, line, OnTree()).serve())
