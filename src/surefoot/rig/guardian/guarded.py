"""Hands with a guardian behind them: whatever ends this process, the unit goes back to stock."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from collections.abc import Mapping
from pathlib import Path
from queue import Empty, Queue
from typing import Final, Protocol, runtime_checkable

from surefoot.errors import MachineError
from surefoot.rig.card_commands import hands_commands, see_confirmed
from surefoot.rig.guardian.messages import AT_STOCK, OFF_STOCK, READY, STAND_DOWN
from surefoot.rig.hands.found import found_by
from surefoot.rig.hands.guard import disagreements
from surefoot.rig.protocols import Hands
from surefoot.rig.system_name import system_name
from surefoot.threads import as_the_user_has_it
from surefoot.units import Setting, Unit

START_SECONDS: Final = 90.0
"""How long it may take to start: a machine under load starts Python slowly (30 s were too few for one in an emulator
beside others), and nothing is applied before."""


@runtime_checkable
class WithGuardian(Hands, Protocol):
    """Hands that something stands behind: whatever ends this process, the unit goes back to stock."""

    @property
    def guardian(self) -> int | None:
        """Process number of whoever that is; None while there is none."""
        ...

    def close(self) -> None:
        """Send it away in order; what stands applied then, stays."""
        ...


def with_guardian(hands: Hands, log: Path) -> WithGuardian:
    """The hands with a guardian behind them: their own, or one that writes to ``log``."""
    return hands if isinstance(hands, WithGuardian) else GuardedHands(hands, log)


class GuardedHands:
    """The given hands, with a guardian started before they first leave stock.

    The guardian is told before a setting is applied and again when stock was applied and read back, so that whatever
    moment this process dies at, it knows what may be applied. ``log``: the file it writes to when it stepped in. As a
    context manager, or by `close`, it is sent away in order; without that it steps in when this process ends off
    stock, which is right as well.
    """

    def __init__(self, hands: Hands, log: Path) -> None:
        self._hands, self._log = hands, log
        self._process: subprocess.Popen[str] | None = None
        self.kind = hands.kind

    @property
    def can_read_back(self) -> bool:
        """That of the hands."""
        return self._hands.can_read_back

    @property
    def found(self) -> Mapping[str, float]:
        """What the hands found before the first change, by knob; {} for hands that know no such values."""
        return found_by(self._hands)

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Apply and read back, guarded. Raises MachineError, before anything is touched, without a guardian."""
        if not setting.is_stock:
            self._tell(unit, OFF_STOCK)
        read = self._hands.apply(unit, setting)
        # Stock that reads back as something else is not stock: the guardian stays at its post.
        if setting.is_stock and self._process is not None and not (read and disagreements(unit, setting, read)):
            with contextlib.suppress(MachineError):
                self._tell(unit, AT_STOCK)
        return read

    def read_back(self, unit: Unit) -> Setting | None:
        """As the hands do."""
        return self._hands.read_back(unit)

    @property
    def guardian(self) -> int | None:
        """Process number of the guardian; None while there is none."""
        return self._process.pid if self._process is not None and self._process.poll() is None else None

    def start(self, unit: Unit) -> None:
        """Have a guardian at its post, where there is none yet. Raises MachineError when it does not get there.

        Raises BadInput for commands that were not confirmed on this machine: it takes its parent's word for them.
        """
        if self.guardian is None:
            see_confirmed(*hands_commands(unit.hands))
            self._process = _start(unit, self._log, self.found)

    def _tell(self, unit: Unit, word: str) -> None:
        self.start(unit)
        try:
            assert self._process is not None and self._process.stdin is not None
            self._process.stdin.write(f"{word}\n")
            self._process.stdin.flush()
        except OSError as error:
            raise MachineError(
                f"the guardian, which puts the unit back to stock if this process dies, is gone ({error}).",
                remedy="Nothing was applied. Give the command again.",
            ) from None

    def close(self) -> None:
        """Send the guardian away in order. Only after stock was applied: it will not step in any more."""
        process, self._process = self._process, None
        if process is None:
            return
        with contextlib.suppress(OSError, ValueError):
            assert process.stdin is not None
            process.stdin.write(f"{STAND_DOWN}\n")
            process.stdin.close()
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(timeout=2.0)

    def __enter__(self) -> GuardedHands:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _start(unit: Unit, log: Path, found: Mapping[str, float]) -> subprocess.Popen[str]:
    """A guardian at its post. Raises MachineError when it does not get there."""
    apart: dict[str, object] = {"start_new_session": True}
    if system_name() == "windows":
        # DETACHED_PROCESS and CREATE_NEW_PROCESS_GROUP (Microsoft's documentation of process creation flags): the
        # console's window and its keys are the parent's.
        apart = {"creationflags": 0x00000008 | 0x00000200}
    try:
        process = subprocess.Popen(
            # The name is for whoever lists the processes.
            [sys.executable, "-m", "surefoot.rig.guardian", unit.name],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
            # It starts the card's commands in its turn.
            env=as_the_user_has_it(),
            **apart,  # type: ignore[call-overload]
        )
    except OSError as error:
        raise MachineError(f"the guardian could not be started: {error}.", remedy="Nothing was applied.") from None
    try:
        process.stdin.write(
            json.dumps({"unit": unit.model_dump(mode="json"), "log": str(log), "found": dict(found)}) + "\n"
        )
        process.stdin.flush()
        if _first_line(process) != READY:
            raise OSError("it did not get ready")
    except OSError as error:
        process.kill()
        raise MachineError(f"the guardian could not be started: {error}.", remedy="Nothing was applied.") from None
    return process  # type: ignore[no-any-return]


def _first_line(process: subprocess.Popen[str]) -> str:
    # Read in a thread: a pipe has no time limit of its own on every system.
    lines: Queue[str] = Queue()
    stream = process.stdout
    assert stream is not None
    threading.Thread(target=lambda: lines.put(stream.readline()), daemon=True).start()
    try:
        return lines.get(timeout=START_SECONDS).strip()
    except Empty:
        return ""
