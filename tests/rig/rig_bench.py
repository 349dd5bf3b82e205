"""What the tests of the rig share."""

from __future__ import annotations

import time
from collections.abc import Callable

import psutil
import pytest

from surefoot.rig.protocols import LoadSession, LoadState


@pytest.fixture
def finish() -> Callable[[LoadSession], LoadState]:
    """Polls a session till it has come to an end, within a minute; stops it whatever happens."""

    def poll(session: LoadSession, limit_seconds: float = 60.0) -> LoadState:
        limit = time.monotonic() + limit_seconds
        try:
            while (state := session.poll()).state == "running":
                assert time.monotonic() < limit, f"still running: {state}"
                time.sleep(0.05)
        finally:
            session.stop()
        return state

    return poll


@pytest.fixture
def gone() -> Callable[..., bool]:
    """Whether all these processes are gone (or dead and only not yet collected) within some seconds."""

    def wait(*pids: int, seconds: float = 15.0) -> bool:
        limit = time.monotonic() + seconds
        while time.monotonic() < limit:
            if not any(_alive(pid) for pid in pids):
                return True
            time.sleep(0.05)
        return False

    return wait


def _alive(pid: int) -> bool:
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False
