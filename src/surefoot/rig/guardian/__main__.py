"""The guardian's own process: ``python -m surefoot.rig.guardian``, started by `GuardedHands` and by nobody else.

It waits for the end of its standard input. That comes when whoever holds the other end is gone, for whatever reason:
no signal can be lost, and nothing has to be asked for again and again.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Final

from surefoot.errors import BadInput, MachineError
from surefoot.os_lock import lock_path, try_lock
from surefoot.rig.card_commands import hands_commands, let_through
from surefoot.rig.guardian.messages import AT_STOCK, OFF_STOCK, READY, STAND_DOWN
from surefoot.rig.guardian.reports import GuardianReport, write_report
from surefoot.rig.hands import make_hands
from surefoot.rig.hands.guard import disagreements
from surefoot.rig.protocols import Hands
from surefoot.units import Setting, Unit

SECOND_LOOK_SECONDS: Final = 1.0
"""A command of the dead process may still have been under way and set its value after ours: looked at once more."""
TRIES: Final = 3
FORMER_SECONDS: Final = 25.0
"""How long an earlier guardian of the unit is waited for: less than a parent waits for its own."""


class _Asked(BaseException):
    """The system asks this process to end: shutdown, logoff."""


def _asked(number: int, frame: FrameType | None) -> None:
    raise _Asked


def main() -> int:
    """Wait, and act once if need be. Exit code 0 when nothing had to be done or it was done, 3 when it failed."""
    for name in ("SIGHUP", "SIGINT", "SIGPIPE"):
        # The terminal's own: it is closed and its keys are pressed for the parent, not for this process.
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _asked)
    off_stock = False
    try:
        first = json.loads(sys.stdin.readline() or "null")
        if not first:
            return 0
        unit, log = Unit.model_validate(first["unit"]), Path(first["log"])
        # The parent applied with these very commands: it was asked, and going back to stock must not depend on a file.
        let_through(hands_commands(unit.hands))
        hands = make_hands(unit, found=first["found"])
        if not _alone(unit, log):
            return 3
        print(READY, flush=True)
        try:
            for line in sys.stdin:
                word = line.strip()
                if word == STAND_DOWN:
                    return 0
                off_stock = word == OFF_STOCK if word in (OFF_STOCK, AT_STOCK) else off_stock
        except _Asked:
            # What was said before the signal came may still be in the pipe.
            off_stock = _last_word(off_stock)
    except _Asked:
        return 0
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    return _step_in(unit, hands, log) if off_stock else 0


def _alone(unit: Unit, log: Path) -> bool:
    """Wait until an earlier guardian of the unit is gone; held until this process ends. False when it stays.

    It may still be putting the unit back, and would take what is applied next for something left over. Where no lock
    can be had (a folder that cannot be written) nothing is waited for: a guardian without one is better than none.
    """
    path = lock_path(log.parent, f"guardian of {unit.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        until = time.monotonic() + FORMER_SECONDS
        while not try_lock(handle):
            if time.monotonic() > until:
                return False
            time.sleep(0.05)
    except OSError:
        return True
    return True


def _last_word(off_stock: bool) -> bool:
    with contextlib.suppress(OSError, ValueError):
        while select.select([sys.stdin], [], [], 0)[0]:
            data = os.read(sys.stdin.fileno(), 65536).decode("utf-8", errors="replace")
            if not data:
                break
            for word in data.split():
                off_stock = word == OFF_STOCK if word in (OFF_STOCK, AT_STOCK) else off_stock
    return off_stock


def _step_in(unit: Unit, hands: Hands, log: Path) -> int:
    at_stock, words = False, ""
    for attempt in range(TRIES):
        try:
            read = hands.apply(unit, Setting())
            wrong = disagreements(unit, Setting(), read) if read is not None else []
            at_stock = not wrong
            words = "; ".join(wrong) if wrong else "put back to stock"
        except (MachineError, BadInput) as error:
            at_stock, words = False, error.message()
        if at_stock:
            break
        time.sleep(0.2 * (attempt + 1))
    if at_stock and hands.can_read_back:
        time.sleep(SECOND_LOOK_SECONDS)
        with contextlib.suppress(MachineError):
            after = hands.read_back(unit)
            if after is not None and disagreements(unit, Setting(), after):
                hands.apply(unit, Setting())
                words += ", and once more, since something set it again"
    with contextlib.suppress(OSError):
        write_report(log, GuardianReport(datetime.now(UTC), unit.name, at_stock, words))
    return 0 if at_stock else 3


if __name__ == "__main__":
    sys.exit(main())
