"""A process that has guarded hands set values over and over, to be killed at any moment: parent.py UNIT.json LOG."""

from __future__ import annotations

import itertools
import sys
from pathlib import Path

from surefoot.rig.card_commands import commands_of, let_through
from surefoot.rig.guardian import GuardedHands
from surefoot.rig.hands import make_hands
from surefoot.units import Setting, Unit

unit = Unit.model_validate_json(Path(sys.argv[1]).read_text())
let_through(commands_of(unit))
hands = GuardedHands(make_hands(unit), Path(sys.argv[2]))
hands.start(unit)
print(hands.guardian, flush=True)
for number in itertools.count(1):
    hands.apply(unit, Setting(values={"core": -float(number % 40 + 1)}))
    print("off", flush=True)
    if len(sys.argv) > 3:
        sys.stdin.readline()
    hands.apply(unit, Setting())
    print("stock", flush=True)
    if len(sys.argv) > 3:
        sys.stdin.readline()
