"""DEVELOPERS.md states what durability rests on: every promise has a test, and every test named there exists."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
TOP = TESTS.parent
PAGE = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
THE_SAME = "the same, "


def chapter(text: str) -> str:
    """The one on durability."""
    return text.split("## What durability rests on\n", 1)[1].split("\n## ", 1)[0]


def promises(text: str) -> list[tuple[str, str]]:
    """Each promise with what holds it; "the same" is what holds the one before."""
    found: list[tuple[str, str]] = []
    for line in chapter(text).splitlines():
        if not line.startswith("| ") or line.startswith(("| promise", "| ---")):
            continue
        promise, held = (part.strip() for part in line.strip("| ").split(" | "))
        found.append((promise, f"{found[-1][1]} {held}" if held.startswith(THE_SAME) else held))
    return found


def named(text: str) -> set[str]:
    """Files, folders of tests and tests named in a text."""
    inside = re.findall(r"`([^`]+)`", text)
    words = {word for one in inside for word in one.split()}
    return {word for word in words if re.fullmatch(r"(?:[\w*]+/)*[\w*]+\.(?:py|c)|tests(?:/\w+)+|test_\w+", word)}


def places(name: str) -> list[Path]:
    """Where it is: from the top, anywhere among the tests, or in the package."""
    if re.fullmatch(r"test_\w+", name):
        return [file for file, text in texts().items() if f"\ndef {name}(" in text]
    if name.startswith("tests/"):
        return list(TOP.glob(name))
    return [*TESTS.glob(f"**/{name}"), *(TOP / "src/surefoot").glob(f"**/{name}")]


@cache
def texts() -> dict[Path, str]:
    """All files with tests."""
    return {file: file.read_text(encoding="utf-8") for file in TESTS.rglob("test_*.py")}


def missing(text: str) -> list[str]:
    """What is named in the chapter and does not exist."""
    return [name for name in sorted(named(chapter(text))) if not places(name)]


def unheld(text: str) -> list[str]:
    """Promises that name nothing among the tests."""
    return [
        promise
        for promise, held in promises(text)
        if not any(TESTS in place.parents for name in named(held) for place in places(name))
    ]


def test_every_promise_has_a_test_and_every_test_exists() -> None:
    assert len(promises(PAGE)) >= 18, "the table is read"
    assert missing(PAGE) == [] and unheld(PAGE) == []


@pytest.mark.parametrize(
    "name", ["kills.py", "tests/journal/test_thinning.py", "test_the_replay_can_fail", "tests/hands"]
)
def test_a_name_that_is_gone_is_seen(name: str) -> None:
    assert f"`{name}`" in chapter(PAGE)
    gone = re.sub(r"\w+(\.py)?$", r"test_gone\1", name)
    assert missing(PAGE.replace(f"`{name}`", f"`{gone}`")) == [gone]


def test_a_promise_without_a_test_is_seen() -> None:
    head = "| promise | held by |\n| --- | --- |\n"
    assert head in PAGE
    assert unheld(PAGE.replace(head, head + "| All is well. | hope, and `journal/whole.py` |\n")) == ["All is well."]
