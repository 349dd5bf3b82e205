"""A load that is a command of the user's: an argument list, no shell."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from contextlib import suppress
from statistics import median
from typing import Any, Literal

from surefoot.errors import BadInput, MachineError
from surefoot.rig.card_commands import load_command, see_confirmed, start
from surefoot.rig.group import end_at_once, kill_group
from surefoot.rig.loads.leash import NOT_STARTED_EXIT, descendants
from surefoot.rig.loads.verdicts import died_by_itself, signal_name
from surefoot.rig.protocols import LoadState
from surefoot.runs import Outcome
from surefoot.units import LoadCard

TERM_SECONDS = 5.0
KILL_SECONDS = 10.0
TAIL_LINES = 40
TAIL_CHARACTERS = 4000
# A command that ends at once must not be started hundreds of times a second.
SHORTEST_PASS_SECONDS = 0.2
_LAST_PASSES = 100
LONGEST_LINE = 16_384
LISTEN_SECONDS = 2.0


class CommandLoad:
    """A command that is run over and over till the minutes are over; an exit code that is not allowed is a failure.

    Raises BadInput for a card without a command.
    """

    by_hand = False

    def __init__(self, card: LoadCard) -> None:
        if not card.command:
            raise BadInput("a load of this kind needs a command.", where=f"load {card.name!r}")
        self.name = card.name
        self._card = card

    def exercises(self) -> tuple[str, ...]:
        """As the card says."""
        return self._card.exercises

    def start(self, minutes: float) -> CommandSession:
        """Start it. Raises MachineError when there is no such program, BadInput for minutes <= 0."""
        if not minutes > 0:
            raise BadInput(f"a load lasts more than 0 minutes, got {minutes!r}.", where=f"load {self.name!r}")
        see_confirmed(load_command(self._card))
        program = self._card.command[0]
        if shutil.which(program) is None:
            raise MachineError(
                f"the program {program!r} was not found or may not be run.",
                where=f"load {self.name!r}",
                remedy="Give its whole path in the unit card's 'command'.",
            )
        return CommandSession(self._card, minutes * 60.0)


class CommandSession:
    """A command of the user's while it runs. ``progress`` is minutes under it: what it checks is its own affair.

    ``detail``: ``passes`` that came to their end with an allowed exit code, their ``pass_seconds``, ``output_tail``,
    and ``scores`` where the card says how a score looks: the median of the passes.
    """

    def __init__(self, card: LoadCard, seconds: float) -> None:
        self._card = card
        self._began = time.monotonic()
        self._seconds = seconds
        self._pass_seconds: list[float] = []
        self._tail: deque[str] = deque(maxlen=TAIL_LINES)
        self._score = re.compile(card.score) if card.score else None
        self._errors = [re.compile(text) for text in card.error_lines]
        self._scores: list[float] = []
        self._pass_began = self._began
        self._failure: LoadState | None = None
        self._last: LoadState | None = None
        self._ending = threading.Event()
        self._lock = threading.Lock()
        self._process = self._launch()
        self._thread = threading.Thread(target=self._supervise, daemon=True, name=f"surefoot-load-{card.name}")
        self._thread.start()

    def poll(self) -> LoadState:
        """Running, failed by its exit code, or done when its minutes are over (the pass in hand is then cut short)."""
        if self._last is not None:
            return self._last
        with self._lock:
            failure = self._failure
        if failure is not None:
            return self._close("failed")
        if (late := self._late()) is not None:
            with self._lock:
                self._failure = self._failure or late
            return self._close("failed")
        if time.monotonic() - self._began >= self._seconds:
            return self._close("done")
        return LoadState("running", progress=self._minutes(), phase=self._phase(), detail=self._detail())

    def stop(self) -> LoadState:
        """End the command and all its children."""
        return self._last if self._last is not None else self._close("stopped")

    def _launch(self) -> subprocess.Popen[bytes]:
        options: dict[str, Any] = {}
        if os.name == "posix":
            options["start_new_session"] = True
        else:
            options["creationflags"] = getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
        try:
            return start(
                load_command(self._card),
                under=(sys.executable, "-P", "-m", "surefoot.rig.loads.leash"),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                **options,
            )
        except BadInput:
            raise
        except (OSError, ValueError) as error:
            where = f"load {self._card.name!r}"
            raise MachineError(f"the command could not be started: {error}.", where=where) from None

    def _supervise(self) -> None:
        while True:
            process, began = self._process, time.monotonic()
            self._pass_began = began
            reader = threading.Thread(target=self._listen, args=(process,), daemon=True)
            reader.start()
            code = process.wait()
            # What the command left behind must neither work on beside the next pass nor hold the output open.
            end_left_behind(process)
            reader.join(timeout=LISTEN_SECONDS)
            if self._ending.is_set():
                return
            with self._lock:
                failure = self._failure
            failure = failure or self._judge(code)
            if failure is not None:
                with self._lock:
                    self._failure = failure
                return
            self._pass_seconds.append(time.monotonic() - began)
            if self._ending.wait(max(0.0, SHORTEST_PASS_SECONDS - (time.monotonic() - began))):
                return
            with self._lock:
                if self._ending.is_set():
                    return
                try:
                    self._process = self._launch()
                except MachineError as error:
                    self._failure = LoadState("failed", outcome=Outcome.VOID, message=error.message())
                    return

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        """Read the output of a pass to its end; a failure in it is told at once, and the next poll ends the command."""
        assert process.stdout is not None
        with suppress(OSError, ValueError):
            # By pieces: a line that never ends must not fill the memory.
            while line := process.stdout.readline(LONGEST_LINE):
                text = line.decode(errors="replace").rstrip()
                self._tail.append(text[:400])
                if (failure := self._read(text)) is not None:
                    with self._lock:
                        self._failure = self._failure or failure

    def _read(self, line: str) -> LoadState | None:
        """What a line of output says: a score to keep, or the failure that an error line is."""
        if self._score is not None and (found := self._score.search(line)) is not None:
            with suppress(ValueError, TypeError):
                self._scores.append(float(found.group(1).replace(",", "")))
        for error in self._errors:
            if error.search(line):
                message = f"the command said in pass {self._passes + 1}: {line.strip()[:200]}"
                return LoadState("failed", outcome=Outcome.MISCOMPUTE, message=message)
        return None

    def _late(self) -> LoadState | None:
        """The failure of a pass that takes longer than the card allows."""
        most = self._card.pass_minutes
        if most is None or time.monotonic() - self._pass_began <= most * 60.0:
            return None
        message = f"pass {self._passes + 1} of the command took longer than the {most:g} min that its card allows."
        return LoadState("failed", outcome=Outcome.HANG, message=message)

    def _judge(self, code: int) -> LoadState | None:
        if code in self._card.ok_exit:
            return None
        name = signal_name(code)
        how = f"was ended by {name}" if name else f"ended with exit code {code}"
        after = f" in pass {self._passes + 1}"
        if code in (126, NOT_STARTED_EXIT):
            message = f"the command could not be run (exit code {code})."
            return LoadState("failed", outcome=Outcome.VOID, message=message)
        if name and not died_by_itself(code):
            return LoadState("failed", outcome=Outcome.VOID, message=f"the command {how}{after}, from outside.")
        allowed = ", ".join(map(str, self._card.ok_exit)) or "none"
        return LoadState("failed", outcome=Outcome.MISCOMPUTE, message=f"the command {how}{after}; allowed: {allowed}.")

    @property
    def _passes(self) -> int:
        return len(self._pass_seconds)

    def _minutes(self) -> float:
        return min(time.monotonic() - self._began, self._seconds) / 60.0

    def _close(self, state: Literal["done", "failed", "stopped"]) -> LoadState:
        minutes = self._minutes()
        with self._lock:
            self._ending.set()
            process = self._process
        stubborn = not end_group(process)
        self._thread.join(timeout=5.0)
        # A failure that was under way when the time was up still counts.
        failure = self._failure
        outcome, message = None, f"{self._passes} whole passes of the command."
        if failure is not None:
            state, outcome, message = "failed", failure.outcome, failure.message
        elif stubborn:
            state, outcome = "failed", Outcome.HANG
            message = "the command could not be ended: it no longer answers the system."
        elif state == "done" and not self._passes:
            message = "The command ran to the end of the time without ending by itself, so it gave no exit code."
        self._last = LoadState(
            state,
            progress=minutes,
            phase=self._phase(),
            outcome=outcome,
            message=message,
            detail=self._detail(),
        )
        return self._last

    def _phase(self) -> str:
        return f"{self._card.name}, pass {self._passes + 1}"

    def _detail(self) -> dict[str, Any]:
        tail = "\n".join(list(self._tail))[-TAIL_CHARACTERS:]
        detail: dict[str, Any] = {"command": list(self._card.command), "passes": self._passes}
        if self._pass_seconds:
            detail["pass_seconds"] = [round(seconds, 3) for seconds in self._pass_seconds[-_LAST_PASSES:]]
        if self._scores:
            value = {"value": median(self._scores), "unit": self._card.score_unit}
            detail["scores"] = {self._card.name: {**value, "higher_is_better": self._card.higher_is_better}}
        if tail:
            detail["output_tail"] = tail
        return detail


def end_group(process: subprocess.Popen[bytes]) -> bool:
    """End a process and all that it started: politely, then not. Returns whether it is gone."""
    if os.name == "posix":
        with suppress(OSError):
            os.killpg(process.pid, signal.SIGTERM)
        with suppress(subprocess.TimeoutExpired):
            process.wait(TERM_SECONDS)
        if process.poll() is None:
            # A daemon is no member of the group any more; while the leash lives, it is still its descendant.
            escaped = descendants(process.pid)
            kill_group(process.pid)
            for pid in escaped:
                with suppress(OSError):
                    os.kill(pid, signal.SIGKILL)
            with suppress(subprocess.TimeoutExpired):
                process.wait(KILL_SECONDS)
        end_left_behind(process)
    else:
        end_at_once(process, KILL_SECONDS)
    with suppress(OSError, ValueError):
        if process.stdin is not None:
            process.stdin.close()
    return process.poll() is not None


def end_left_behind(process: subprocess.Popen[bytes]) -> None:
    """End what is left of a group whose first process has ended. Elsewhere than on POSIX the leash has done so."""
    if os.name == "posix":
        kill_group(process.pid)
