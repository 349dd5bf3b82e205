"""The agent: runs sensors, loads and hands on the machine under test, for a bench at the other end of a line.

It keeps no record and decides nothing. When its line ends, however it ends, the load is stopped and the unit goes back
to stock; where the agent itself is killed, its guardian does that.
"""

from __future__ import annotations

import contextlib
import os
import threading
import time
from base64 import b64encode
from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from queue import Empty, Queue
from typing import Any, BinaryIO, Final

from surefoot.errors import BadInput, MachineError, SurefootError
from surefoot.guide.interrupts import no_interrupts
from surefoot.guide.machine import RealMachine
from surefoot.guide.remote.former import see_off
from surefoot.guide.remote.wire import (
    BEAT_SECONDS,
    HELLO,
    LONGEST_LINE,
    ORPHANED_SECONDS,
    VERSION,
    as_line,
    error_out,
    of_line,
)
from surefoot.journal.place import journal_path
from surefoot.rig.card_commands import commands_of, let_through
from surefoot.rig.guardian import WithGuardian, all_reports, with_guardian
from surefoot.rig.guardian.reports import FILE_NAME
from surefoot.rig.hands.found import found_by
from surefoot.rig.protocols import LoadSession
from surefoot.rig.sensors.growing_log import GrowingLog, ends_of
from surefoot.units import Setting, Unit, validated

LAST_RESORT_SECONDS: Final = 45.0
"""An orphan that has not ended by itself by now is stuck: it goes at once, and its guardian steps in."""

Asked = Mapping[str, Any]


class Agent:
    """One line's worth of work on this machine."""

    def __init__(self, lines_in: BinaryIO, lines_out: BinaryIO, machine: RealMachine | None = None) -> None:
        self._in, self._out = lines_in, lines_out
        self._machine = machine if machine is not None else RealMachine()
        self._speaking = threading.Lock()
        self._lines: Queue[dict[str, Any] | None] = Queue()
        self._heard = time.monotonic()
        self._ended = threading.Event()
        self._sessions: dict[int, LoadSession] = {}
        self._hands: WithGuardian | None = None
        self._unit: Unit | None = None
        self._off_stock = False
        self._verbs: dict[str, Callable[[Asked], Any]] = {
            "log-ends": lambda asked: b64encode(ends_of(Path(str(asked["path"])))).decode("ascii"),
            "follow": self._follow,
            "missing": lambda _: list(self._machine.missing()),
            "sample": lambda _: self._machine.sample(),
            "default-load": lambda asked: self._machine.default_load(_unit(asked), asked.get("knob")),
            "load": self._load,
            "start": self._start,
            "poll": lambda asked: asdict(self._session(asked).poll()),
            "stop": self._stop,
            "hands": self._make_hands,
            "apply": self._apply,
            "leave": self._leave_applied,
            "read-back": lambda _: _values(self._known_hands().read_back(self._known_unit())),
            "faults": lambda asked: [(outcome.value, text) for outcome, text in self._machine.faults_since(_at(asked))],
            "ending": self._ending,
            "reports": self._reports,
            "former": _former,
            "power-mode": lambda _: self._machine.power_mode(),
            "up-seconds": lambda _: self._machine.up_seconds(),
        }

    def serve(self) -> int:
        """Say hello, answer until the line ends, leave the unit at stock. Exit code 0, or 3 when that failed."""
        began = time.time()
        self._say(
            {
                "hello": HELLO,
                "version": VERSION,
                "surefoot": version("surefoot"),
                "process": os.getpid(),
                "began": began,
                "boot": self._machine.boot_id(),
                "identity": self._machine.identity(),
                "operating_system": self._machine.operating_system(),
            }
        )
        for work in (self._listen, self._beat):
            threading.Thread(target=work, daemon=True).start()
        try:
            self._answer_all()
        except KeyboardInterrupt:
            pass
        finally:
            # Whatever asks this process to end now waits until the unit is at stock.
            with no_interrupts():
                at_stock = self._leave()
                self._ended.set()
        return 0 if at_stock else 3

    def _answer_all(self) -> None:
        while time.monotonic() - self._heard < ORPHANED_SECONDS:
            try:
                asked = self._lines.get(timeout=BEAT_SECONDS)
            except Empty:
                continue
            if asked is None:
                return
            self._answer(asked)

    def _answer(self, asked: dict[str, Any]) -> None:
        answer: dict[str, Any] = {"id": asked.get("id")}
        try:
            verb = self._verbs.get(str(asked.get("do")))
            if verb is None:
                raise BadInput(f"this agent knows no {asked.get('do')!r}.")
            answer["ok"] = verb(asked)
        except SurefootError as error:
            answer["error"] = error_out(error)
        except (KeyError, TypeError, ValueError, OSError) as error:
            answer["error"] = error_out(MachineError(f"{asked.get('do')}: {type(error).__name__}: {error}."))
        self._say(answer)

    def _listen(self) -> None:
        while line := self._in.readline(LONGEST_LINE):
            self._heard = time.monotonic()
            message = of_line(line)
            if message is not None and "do" in message:
                self._lines.put(message)
        self._lines.put(None)
        self._at_last()

    def _at_last(self) -> None:
        if not self._ended.wait(LAST_RESORT_SECONDS):
            os._exit(4)

    def _beat(self) -> None:
        number = 0
        while not self._ended.wait(BEAT_SECONDS):
            number += 1
            self._say({"beat": number, "now": time.time()})
            if time.monotonic() - self._heard > ORPHANED_SECONDS:
                return self._at_last()
        return None

    def _say(self, message: Mapping[str, Any]) -> None:
        # A bench that has gone shows at the other pipe; what could not be said matters to nobody then.
        with self._speaking, contextlib.suppress(OSError, ValueError):
            self._out.write(as_line(message))
            self._out.flush()

    def _leave(self) -> bool:
        for session in self._sessions.values():
            with contextlib.suppress(SurefootError, OSError):
                session.stop()
        if self._hands is None or self._unit is None:
            return True
        if self._off_stock:
            try:
                self._hands.apply(self._unit, Setting())
            except SurefootError:
                # Its guardian tries as well, once this process is gone.
                return False
        self._hands.close()
        return True

    def _follow(self, asked: Asked) -> Any:
        known = {str(name): str(meant) for name, meant in dict(asked["corrections"]).items()}
        self._machine.listen_to(GrowingLog(Path(str(asked["path"])), known))

    def _load(self, asked: Asked) -> Any:
        load = self._machine.load(str(asked["name"]), _unit(asked))
        return {"by_hand": load.by_hand, "exercises": list(load.exercises())}

    def _start(self, asked: Asked) -> Any:
        if any(session.poll().state == "running" for session in self._sessions.values()):
            raise MachineError("a load is running on the unit already.")
        number = len(self._sessions) + 1
        load = self._machine.load(str(asked["name"]), _unit(asked))
        self._sessions[number] = load.start(float(asked["minutes"]))
        return number

    def _session(self, asked: Asked) -> LoadSession:
        return self._sessions[int(asked["session"])]

    def _stop(self, asked: Asked) -> Any:
        return asdict(self._session(asked).stop())

    def _make_hands(self, asked: Asked) -> Any:
        if self._off_stock:
            raise MachineError("the unit is off stock under this agent's hands.")
        unit = _unit(asked)
        if unit.hands.kind == "ask":
            raise BadInput("hands of kind 'ask' are at the bench, not on the unit.")
        if self._hands is not None:
            self._hands.close()
        hands = self._machine.hands(unit, None, dict(asked["found"]))
        self._unit, self._hands = unit, with_guardian(hands, _log())
        return {"can_read_back": self._hands.can_read_back, "found": dict(found_by(self._hands))}

    def _apply(self, asked: Asked) -> Any:
        hands, unit = self._known_hands(), self._known_unit()
        setting = validated(Setting, {"values": asked["values"]}, "the setting")
        if not setting.is_stock:
            self._off_stock = True
        read = hands.apply(unit, setting)
        self._off_stock = not setting.is_stock
        return {"values": _values(read), "guardian": hands.guardian}

    def _leave_applied(self, asked: Asked) -> Any:
        self._known_hands().close()
        self._off_stock = False

    def _known_hands(self) -> WithGuardian:
        if self._hands is None:
            raise MachineError("no hands were asked for.")
        return self._hands

    def _known_unit(self) -> Unit:
        assert self._unit is not None
        return self._unit

    def _ending(self, asked: Asked) -> Any:
        ending = self._machine.ending(asked.get("boot"), _at(asked))
        return {"kind": ending.kind, "words": ending.words}

    def _reports(self, asked: Asked) -> Any:
        found = all_reports(_log(), _unit(asked), _at(asked))
        return [{**asdict(one), "at": one.at.isoformat()} for one in found]


def _unit(asked: Asked) -> Unit:
    unit = validated(Unit, asked["unit"], "the card")
    # The bench asked before it said so over the line; whoever holds the line's other end may run what they like here.
    let_through(commands_of(unit))
    return unit


def _former(asked: Asked) -> Any:
    return see_off([int(number) for number in asked["processes"]], float(asked["began"]), float(asked["grace"]))


def _at(asked: Asked) -> datetime:
    return datetime.fromisoformat(str(asked["since"]))


def _values(setting: Setting | None) -> dict[str, float] | None:
    return None if setting is None else setting.values


def _log() -> Path:
    return journal_path().parent / FILE_NAME
