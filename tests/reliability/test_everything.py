"""The one command: slices add up, what was really played is what is said, and a loss is a loss."""

from __future__ import annotations

import sys
from pathlib import Path

import everything
import pytest
from slices import cut, mixed
from table import Counted, added, keep, kept

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="Linux only")


def test_slices_of_other_hours_add_up(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, other = Counted("kill -9: tune", 10, 10, sums={"steps": 5}), Counted("kill -9: tune", 4, 3, ["tune 3: gone"])
    other.at_most("slowest, s", 2.5)
    keep([one], tmp_path / "first")
    keep([other, Counted("power cut", 7, 7)], tmp_path / "second")
    lines = kept([tmp_path / "first", tmp_path / "second"])
    assert [(line.what, line.tried, line.survived) for line in lines] == [
        ("kill -9: tune", 14, 13),
        ("power cut", 7, 7),
    ]
    assert lines[0].lost == ["tune 3: gone"] and lines[0].most == {"slowest, s": 2.5} and lines[0].sums == {"steps": 5}
    sys_argv, sys.argv = sys.argv, ["everything.py", "--add", str(tmp_path / "first"), str(tmp_path / "second")]
    try:
        assert everything.main() == 1, "something was lost"
    finally:
        sys.argv = sys_argv
    told = capsys.readouterr().out
    assert "tune 3: gone" in told and "slowest, s: 2.5" in told


def test_a_share_is_played_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[float] = []

    def part(of: everything.Asked) -> list[Counted]:
        asked.append(of.share)
        return [Counted("one", round(100 * of.share), round(100 * of.share))]

    monkeypatch.setattr(everything, "PARTS", {"one": part, "two": part})
    told: list[list[Counted]] = []
    lines = everything.play(["one", "two"], everything.Asked(0.05), told.append)
    assert asked == [0.05, 0.05] and [(line.what, line.tried) for line in lines] == [("one", 10)]
    assert len(told) == 2, "told of each part at its end, for a run that does not come to its own"


def test_slices_are_all_of_it_once_and_kinds_keep_step() -> None:
    slices = mixed([("card", cut("card", 0, 25, 10)), ("log", cut("log", 0, 60, 10))])
    assert sorted(slices) == sorted([*cut("card", 0, 25, 10), *cut("log", 0, 60, 10)])
    assert sum(last - first for _, first, last in slices) == 85
    half = [kind for kind, _, _ in slices[: len(slices) // 2]]
    assert 1 <= half.count("card") <= 2
    assert added([Counted("a", 1), Counted("a", 2)])[0].tried == 3
