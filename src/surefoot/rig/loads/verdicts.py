"""What became of a worker, judged from what it said and how it ended. Pure: no process, no clock."""

from __future__ import annotations

import signal
from dataclasses import dataclass, field
from typing import Any

from surefoot.runs import Outcome

# A process ended by one of these did something that the processor refused: it went astray while computing.
CRASH_SIGNALS = frozenset(
    name for name in ("SIGSEGV", "SIGILL", "SIGBUS", "SIGFPE", "SIGABRT", "SIGTRAP", "SIGSYS") if hasattr(signal, name)
)
# On Windows a crash ends a process with an NTSTATUS of severity "error", 0xC......., as its exit code (MS-ERREF; from
# memory). 0xC000013A is Ctrl-C.
_NT_ERROR = 0xC0000000
_NT_CONTROL_C = 0xC000013A
_AGAIN = {"True": " Done again, it was wrong again.", "False": " Done again, it was right."}


@dataclass(frozen=True, slots=True)
class Post:
    """Where a worker works: in words, as facts for the record, and what it stands for when the worker crashes."""

    words: str
    facts: dict[str, Any]
    crash: Outcome = Outcome.MISCOMPUTE


@dataclass(frozen=True, slots=True)
class WorkerView:
    """What the parent knows of a worker at one moment.

    ``exit_code``: as Python gives it (minus the signal number when a signal ended it), None while it runs;
    ``silent_seconds``: since it last said anything; ``wrong`` and ``trouble``: what it said of itself; ``facts``: what
    it said of where it works, ``now``: of the moment; ``ended``: it came to its own end and said so; ``stuck``: in
    words how the system says that it is getting nowhere, "" where it may be waiting for a processor.
    """

    post: Post
    pinned: bool = True
    facts: dict[str, Any] = field(default_factory=dict)
    now: dict[str, float] = field(default_factory=dict)
    ready: bool = False
    ended: bool = False
    units: int = 0
    progress: float = 0.0
    silent_seconds: float = 0.0
    exit_code: int | None = None
    wrong: dict[str, Any] | None = None
    trouble: dict[str, Any] | None = None
    tail: str = ""
    stuck: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A failure of one worker: the outcome it stands for, in words, and what was seen."""

    outcome: Outcome
    message: str
    detail: dict[str, Any] = field(default_factory=dict)


def judge_worker(view: WorkerView, hang_seconds: float) -> Finding | None:
    """The failure of a worker, or None while there is none.

    A wrong result is a `miscompute`. So is a worker that died by a fault of its own (a memory fault, an illegal
    instruction, an error in a program that had worked before): at an offset a processor that goes astray breaks an
    address or a jump as easily as a number, and it cost no more than a wrong result does. A worker that runs but says
    nothing for ``hang_seconds`` is a `hang`. One that was ended from outside (killed by the user, or by the system for
    want of memory) or could not get what it needs says nothing of the machine: `void`.
    """
    where = view.post.words if view.pinned else f"{view.post.words} (not pinned)"
    seen: dict[str, Any] = {**view.post.facts, **view.facts, "verified_units": view.units}
    if view.wrong is not None:
        wrong = view.wrong
        again = _AGAIN.get(str(wrong.get("repeats")), "")
        return Finding(
            Outcome.MISCOMPUTE,
            f"{where} computed wrongly: {wrong.get('what', '')}.{again}",
            {**seen, **wrong},
        )
    if view.trouble is not None:
        what = view.trouble.get("what", "")
        seen["trouble"] = what
        if view.trouble.get("kind") == "stuck":
            return Finding(Outcome.HANG, f"{where} has stopped answering: {what}.", seen)
        # An error before the first verified unit is a matter of the installation and not of the hardware.
        if view.trouble.get("kind") == "lost" and view.ready:
            return Finding(Outcome.DRIVER_RESET, f"{where}: the driver gave the device up ({what}).", seen)
        if view.trouble.get("kind") == "program" and view.ready:
            return Finding(
                view.post.crash,
                f"{where}: the worker's program broke after at least {view.units} verified units of work ({what}).",
                seen,
            )
        return Finding(Outcome.VOID, f"{where}: the worker could not work ({what}).", seen)
    if view.ended:
        return None
    if view.exit_code is not None:
        return _judge_exit(view, where, seen)
    if view.stuck:
        seen["silent_seconds"] = round(view.silent_seconds, 1)
        return Finding(
            Outcome.HANG,
            f"{where} {view.stuck} for {view.silent_seconds:.1f} s, after at least {view.units} verified units.",
            seen,
        )
    if view.silent_seconds > hang_seconds:
        seen["silent_seconds"] = round(view.silent_seconds, 1)
        return Finding(
            Outcome.HANG,
            f"{where} has not answered for {view.silent_seconds:.0f} s, after at least {view.units} verified units.",
            seen,
        )
    return None


def _judge_exit(view: WorkerView, where: str, seen: dict[str, Any]) -> Finding:
    code = view.exit_code or 0
    seen["exit_code"] = code
    if view.tail:
        seen["last_words"] = view.tail
    name = signal_name(code)
    if name:
        seen["signal"] = name
    if died_by_itself(code):
        how = name or f"status {code & 0xFFFFFFFF:#010x}"
        return Finding(
            view.post.crash,
            f"{where}: the worker died ({how}) after at least {view.units} verified units of work.",
            seen,
        )
    how = name or f"exit code {code}"
    return Finding(Outcome.VOID, f"{where}: the worker was ended from outside ({how}).", seen)


def died_by_itself(code: int) -> bool:
    """Whether an exit code means that the process did something the processor or the system refused."""
    if code < 0:
        return signal_name(code) in CRASH_SIGNALS
    return _NT_ERROR <= code < 0xD0000000 and code != _NT_CONTROL_C


def signal_name(code: int) -> str:
    """Name of the signal that an exit code of Python's subprocess stands for; "" when it stands for none."""
    if code >= 0:
        return ""
    try:
        return signal.Signals(-code).name
    except ValueError:
        return f"signal {-code}"
