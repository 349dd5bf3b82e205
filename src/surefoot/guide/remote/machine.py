"""A machine under test at the other end of a line, as the `Machine` that a bench works with."""

from __future__ import annotations

import subprocess
import time
from base64 import b64decode
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from surefoot.errors import MachineError
from surefoot.guide.machine import Fault
from surefoot.guide.remote.former import GRACE_SECONDS
from surefoot.guide.remote.line import Line
from surefoot.guide.remote.lost import LineLost
from surefoot.guide.remote.wire import SILENT_SECONDS, numbers, plain
from surefoot.rig.boot import same_boot
from surefoot.rig.card_commands import hands_commands, load_command, run, see_confirmed, switch_command
from surefoot.rig.guardian.reports import GuardianReport
from surefoot.rig.protocols import Hands, Load
from surefoot.runs import UNKNOWN_ENDING, Ending, LoadState, Outcome, Source
from surefoot.units import RemoteCard, Setting, Unit

QUICK_SECONDS: Final = SILENT_SECONDS
"""For an answer that is given at once: an agent that beats but does not answer is stuck, and that is a hang too."""
FORMER_SECONDS: Final = 60.0
AGAIN_SECONDS: Final = 3.0


@dataclass(frozen=True, slots=True)
class Patience:
    """Seconds that a unit which was lost is waited for.

    ``grace``: an agent that outlives its line for so long is frozen; ``switch_after``: then power is switched, where
    a command can, and again after each so long again; ``at_most``: then the session ends, to be gone on with later.
    """

    grace: float = GRACE_SECONDS
    switch_after: float = 180.0
    at_most: float = 3600.0


class RemoteMachine:
    """Sensors, loads and hands of the machine that ``command`` gives an agent on; clock and journal are the bench's.

    ``switch_power``: an argument list that switches the unit's power off and on; () for none.
    """

    source: Source = "rig"

    def __init__(
        self,
        command: Sequence[str],
        where: str,
        switch_power: Sequence[str] = (),
        patience: Patience | None = None,
    ) -> None:
        self._command, self.where = list(command), where
        self._switch, self._patience = tuple(switch_power), patience or Patience()
        self._line = Line(self._command, where)
        self._guardian: int | None = None
        self._missing: list[str] | None = None
        self._seen: Ending | None = None
        self._followed: tuple[str, dict[str, str]] | None = None

    def ask(self, do: str, **more: Any) -> Any:
        """Ask the agent. Raises LineLost when nobody is there any more, and what the agent refuses as its error."""
        return self._line.ask(do, **more)

    def close(self) -> None:
        """End the line; the agent ends at stock."""
        self._line.close()

    def __enter__(self) -> RemoteMachine:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def identity(self) -> str:
        """The unit's, not the bench's."""
        return self._line.hello.identity

    def boot_id(self) -> str:
        """Of the unit's boot, as its agent said at the start of the line."""
        return self._line.hello.boot

    def operating_system(self) -> str:
        """The unit's."""
        return self._line.hello.operating_system

    def now(self) -> datetime:
        """The bench's own clock: a unit that dies may come back with another."""
        return datetime.now(UTC)

    def seconds(self) -> float:
        """The bench's monotonic clock."""
        return time.monotonic()

    def asleep_seconds(self) -> float | None:
        """Not known here."""
        return None

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)

    def sample(self) -> dict[str, float]:
        """The unit's sensors now."""
        return numbers(self.ask("sample", within=QUICK_SECONDS))

    def log_ends(self, path: str) -> bytes:
        """Head and tail of a log on the unit. Raises MachineError where it cannot be read."""
        try:
            return b64decode(str(self.ask("log-ends", path=path)), validate=True)
        except ValueError:
            raise MachineError("the agent on the unit answered something that is no file.", where=path) from None

    def follow(self, path: str, corrections: Mapping[str, str]) -> None:
        """Have a log there followed as a live sensor, now and after the line was lost."""
        self.ask("follow", path=path, corrections=dict(corrections))
        self._followed = (path, dict(corrections))
        self._missing = None

    def missing(self) -> Sequence[str]:
        """What the unit does not offer, in words."""
        if self._missing is None:
            self._missing = [plain(text) for text in self.ask("missing")]
        return self._missing

    def load(self, name: str, unit: Unit) -> Load:
        """The unit's load of that name; one that is done by hand is the bench's own."""
        told = self.ask("load", name=name, unit=_card(unit))
        if told["by_hand"]:
            from surefoot.rig.registry import make_load

            return make_load(name, unit)
        return RemoteLoad(self, unit, name, tuple(plain(part, 80) for part in told["exercises"]))

    def default_load(self, unit: Unit, knob: str | None) -> str:
        """As the unit's own installation has it."""
        return plain(self.ask("default-load", unit=_card(unit), knob=knob), 200)

    def hands(
        self, unit: Unit, prompt: Callable[[str, str], str] | None, found: Mapping[str, float] | None = None
    ) -> Hands:
        """The unit's hands, with their guardian there. Whoever sets values by hand is asked at the bench."""
        if unit.hands.kind == "ask":
            from surefoot.rig.hands import make_hands

            return make_hands(unit, prompt=prompt)
        told = self.ask("hands", unit=_card(unit), found=dict(found or {}))
        return RemoteHands(self, unit.hands.kind, told["can_read_back"] is True, numbers(told["found"]))

    def applied_by(self, told: Mapping[str, Any]) -> Setting | None:
        """What the agent read back, and who guards it, kept."""
        self._guardian = told["guardian"] if isinstance(told["guardian"], int) else None
        return setting_of(told["values"])

    def faults_since(self, moment: datetime) -> Sequence[Fault]:
        """From the unit's own logs, by its own clock."""
        told = self.ask("faults", since=self._there(moment).isoformat())
        return [(Outcome(outcome), plain(text)) for outcome, text in told]

    def power_mode(self) -> str | None:
        """The unit's."""
        told = self.ask("power-mode")
        return None if told is None else plain(told, 80)

    def up_seconds(self) -> float:
        """Of the unit's boot."""
        return float(self.ask("up-seconds"))

    def ending(self, boot_id: str | None, since: datetime) -> Ending:
        """From the unit's own records; where those tell nothing, from what was seen over the line."""
        told = self.ask("ending", boot=boot_id, since=self._there(since).isoformat())
        if told["kind"] in ("crash", "froze", "power", "planned"):
            return Ending(told["kind"], plain(told["words"]))
        return self._seen or UNKNOWN_ENDING

    def seen_under_the_same_boot(self) -> Ending | None:
        """What the line showed of a unit that never went down: its agent froze. None when only the line was lost."""
        return self._seen

    @property
    def guardian(self) -> int | None:
        """Process number of the guardian there; None before the first setting."""
        return self._guardian

    def guardian_reports(self, unit: Unit, since: datetime) -> list[GuardianReport]:
        """What guardians did on the unit."""
        told = self.ask("reports", unit=_card(unit), since=self._there(since).isoformat())
        return [
            GuardianReport(datetime.fromisoformat(one["at"]), unit.name, one["at_stock"] is True, plain(one["words"]))
            for one in told
        ]

    def come_back(self, say: Callable[[str], object]) -> None:
        """Wait for the unit after its line was lost, switching its power where that helps. Raises MachineError when it
        does not come back in time."""
        before, lost_at = self._line.hello, time.monotonic()
        self._line.close()
        switched = 0
        while True:
            try:
                self._line = Line(self._command, self.where)
                break
            except LineLost as error:
                away = time.monotonic() - lost_at
                if away > self._patience.at_most:
                    raise MachineError(
                        f"the unit has not come back for {away / 60:.0f} min ({error.what.rstrip('.')}).",
                        where=self.where,
                        remedy="See that it runs and is at stock, then give the command again: nothing is lost.",
                    ) from None
                if self._switch and away > self._patience.switch_after * (switched + 1):
                    switched += 1
                    say(f"Not back for {away:.0f} s: switching its power off and on.")
                    self._switch_power(say)
                time.sleep(AGAIN_SECONDS)
        self._seen = None
        self._follow_again(say)
        if same_boot(before.boot, self.boot_id()) is False:
            if switched:
                self._seen = Ending("froze", "no word from it until its power was switched off and on")
            say("It is back, under another boot: it went down.")
            return
        processes = [before.process, *([self._guardian] if self._guardian else [])]
        former = {"processes": processes, "began": before.began, "grace": self._patience.grace}
        became = self.ask("former", **former, within=FORMER_SECONDS)
        if became == "frozen":
            self._seen = Ending("froze", "it stayed up, but what ran on it froze and had to be ended")
        say(
            "It is back, under the same boot"
            + ("; what ran on it froze." if self._seen else ": only the line was lost.")
        )

    def _follow_again(self, say: Callable[[str], object]) -> None:
        if self._followed is None:
            return
        path, corrections = self._followed
        try:
            self.ask("follow", path=path, corrections=corrections)
        except LineLost:
            raise
        except MachineError as error:
            say(f"The log there is not followed any more: {error.message()}")

    def _there(self, moment: datetime) -> datetime:
        return moment + timedelta(seconds=self._line.hello.ahead)

    def _switch_power(self, say: Callable[[str], object]) -> None:
        try:
            command = switch_command(RemoteCard(switch_power=self._switch))
            done = run(command, stdin=subprocess.DEVNULL, capture_output=True, timeout=120)
        except (OSError, ValueError, subprocess.TimeoutExpired) as error:
            say(f"The command that switches its power failed: {error}.")
            return
        if done.returncode:
            say(f"The command that switches its power ended with exit code {done.returncode}.")


class RemoteHands:
    """Whoever applies settings on the unit; a guardian stands behind it there."""

    def __init__(self, machine: RemoteMachine, kind: str, can_read_back: bool, found: Mapping[str, float]) -> None:
        self._machine = machine
        self.kind, self.can_read_back, self.found = kind, can_read_back, found

    def apply(self, unit: Unit, setting: Setting) -> Setting | None:
        """Over the line; the unit's own hands check card and limits again."""
        see_confirmed(*hands_commands(unit.hands))
        return self._machine.applied_by(self._machine.ask("apply", values=setting.values))

    def read_back(self, unit: Unit) -> Setting | None:
        """Over the line."""
        see_confirmed(*hands_commands(unit.hands))
        return setting_of(self._machine.ask("read-back"))

    @property
    def guardian(self) -> int | None:
        """Its process number on the unit."""
        return self._machine.guardian

    def close(self) -> None:
        """Leave what stands: neither the agent nor its guardian puts it back when the line ends."""
        self._machine.ask("leave")


class RemoteLoad:
    """A load of the unit's."""

    by_hand = False

    def __init__(self, machine: RemoteMachine, unit: Unit, name: str, exercises: tuple[str, ...]) -> None:
        self._machine, self._unit, self.name, self._exercises = machine, unit, name, exercises

    def exercises(self) -> tuple[str, ...]:
        """As the unit says."""
        return self._exercises

    def start(self, minutes: float) -> RemoteSession:
        """Have it started there. Raises BadInput for a command of the card's that was not confirmed here."""
        see_confirmed(*(load_command(card) for card in self._unit.loads if card.name == self.name and card.command))
        number = self._machine.ask("start", name=self.name, unit=_card(self._unit), minutes=minutes)
        return RemoteSession(self._machine, int(number))


class RemoteSession:
    """A load that runs on the unit."""

    def __init__(self, machine: RemoteMachine, number: int) -> None:
        self._machine, self._number = machine, number

    def poll(self) -> LoadState:
        """What it says now."""
        return _state(self._machine.ask("poll", session=self._number, within=QUICK_SECONDS))

    def stop(self) -> LoadState:
        """Its last word."""
        return _state(self._machine.ask("stop", session=self._number))


def setting_of(values: Any) -> Setting | None:
    """A setting as it came over the line."""
    return None if values is None else Setting(values=numbers(values))


def _card(unit: Unit) -> dict[str, Any]:
    return unit.model_dump(mode="json")


def _state(told: Mapping[str, Any]) -> LoadState:
    if told["state"] not in ("running", "done", "failed", "stopped"):
        raise MachineError("the agent on the unit tells a state of its load that is not known.")
    return LoadState(
        told["state"],
        float(told["progress"]),
        plain(told["phase"], 200),
        Outcome(told["outcome"]) if told["outcome"] else None,
        plain(told["message"]),
        dict(told["detail"]),
    )
