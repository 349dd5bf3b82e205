"""Ctrl-C, and the signals that mean the same: a session is stopped in order, and the way back is never torn."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, Final

_Handler = Callable[[int, FrameType | None], Any]

NAMES: Final = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""An interrupt, a request to end, a window that was shut (SIGBREAK: on Windows)."""


def stopping_signals() -> tuple[int, ...]:
    """Those of them that this system has."""
    return tuple(getattr(signal, name) for name in NAMES if hasattr(signal, name))


@contextlib.contextmanager
def stoppable() -> Iterator[None]:
    """Let every stopping signal stop a session as Ctrl-C does: run void, unit back at stock."""
    with _handled(lambda _number, _frame: _interrupt()):
        yield


@contextlib.contextmanager
def no_interrupts() -> Iterator[None]:
    """Hold stopping signals back while the unit goes to stock and the run is closed; one that came is raised then."""
    came: list[int] = []
    with _handled(lambda number, _frame: came.append(number)):
        yield
    if came:
        _interrupt()


def _interrupt() -> None:
    raise KeyboardInterrupt


@contextlib.contextmanager
def _handled(handler: _Handler) -> Iterator[None]:
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    # A signal that whoever started us has set to be ignored (nohup) stays ignored.
    wanted = [number for number in stopping_signals() if signal.getsignal(number) is not signal.SIG_IGN]
    before = {number: signal.signal(number, handler) for number in wanted}
    try:
        yield
    finally:
        for number, former in before.items():
            signal.signal(number, former)
