"""CI's share of power_cuts.py: some of the states that a cut could leave, of each kind of work."""

from __future__ import annotations

import random
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from cut_disk import Change, Disk
from power_cuts import PARTS, Replay, recorder

needs_recorder = pytest.mark.skipif(
    sys.platform != "linux" or recorder() is None, reason="the recorder needs Linux and a C compiler"
)


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Replay:
    """A first start and a session, recorded once."""
    return PARTS["first start and a session"](tmp_path_factory.mktemp("recorded"))


@needs_recorder
def test_a_power_cut_in_a_session_loses_nothing_acknowledged(session: Replay) -> None:
    counted = session.count("session", seed=5, most=12)
    assert counted.lost == [] and counted.tried == 12


@needs_recorder
@pytest.mark.parametrize("what", ["a migration from schema 1", "a bundle merged"])
def test_a_power_cut_loses_nothing_acknowledged(what: str, tmp_path: Path) -> None:
    counted = PARTS[what](tmp_path).count(what, seed=5, most=12)
    assert counted.lost == [] and counted.tried == 12


@needs_recorder
@pytest.mark.long
@pytest.mark.parametrize("what", PARTS)
def test_no_power_cut_loses_anything_acknowledged(what: str, tmp_path: Path) -> None:
    counted = PARTS[what](tmp_path).count(what, seed=6)
    assert counted.lost == [] and counted.tried > 50


@needs_recorder
def test_the_replay_can_fail(session: Replay) -> None:
    """What the tests above rest on: a disk that forgets flushed data is found out."""
    forgetful = [one for one in session.changes if not (one.kind == "S" and one.path.endswith("-wal"))]
    assert len(forgetful) < len(session.changes)
    assert replace(session, changes=forgetful).count("forgetful", seed=7, most=12).lost


def test_a_cut_keeps_what_was_flushed_and_may_keep_anything_else() -> None:
    disk = Disk({"/top/old": b"as it was"})
    for change in (
        Change("C", 7, 0, "/top/new", b""),
        Change("W", 7, 0, "/top/new", b"a" * 1024),
        Change("S", 7, 0, "/top/new", b""),
        Change("W", 7, 1024, "/top/new", b"b" * 1024),
    ):
        disk.play(change)
    left = [tree for _, tree in disk.states(random.Random(1), shuffles=40)]
    assert any("/top/new" not in tree for tree in left), "a name that was never flushed"
    assert all(tree["/top/old"] == b"as it was" for tree in left)
    seen = {tree["/top/new"] for tree in left if "/top/new" in tree}
    assert all(content is not None and content[:1024] == b"a" * 1024 for content in seen)
    assert {b"a" * 1024, b"a" * 1024 + b"b" * 512, b"a" * 1024 + b"b" * 1024} <= seen
    disk.play(Change("S", 3, 0, "/top", b""))
    assert all("/top/new" in tree for _, tree in disk.states(random.Random(2)))
