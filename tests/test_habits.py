"""What a contributor relies on: one version, examples that run, commands that are documented."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from importlib.metadata import version
from pathlib import Path

import pytest
import typer.main

import surefoot
from surefoot.cli.main import app
from surefoot.journal.card_file import read_card

ROOT = Path(__file__).parent.parent


def test_the_version_stands_in_one_place() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "version" not in project and project["dynamic"] == ["version"]
    assert version("surefoot") == surefoot.__version__


def test_the_type_checker_reads_every_folder_of_tests() -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["mypy"]
    folders = {f"tests/{path.parent.name}" for path in (ROOT / "tests").glob("*/*.py")}
    assert folders <= set(settings["mypy_path"]) and {"src/surefoot", "tests"} <= set(settings["files"])


def commands() -> list[str]:
    """Every command as it is typed, without the program's name."""
    found = []
    for name, command in typer.main.get_command(app).commands.items():  # type: ignore[attr-defined]
        under = getattr(command, "commands", {})
        found += [f"{name} {verb}" for verb in under] or [name]
    return found


@pytest.mark.parametrize("command", commands())
def test_every_command_is_documented(command: str) -> None:
    """The README's table of commands names each: `name`, or `group verb` and the verbs after it."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = text[text.index("## Commands") :].split("\n## ")[0]
    words = set(table.replace("`", " ").replace(",", " ").replace("|", " ").split())
    assert set(command.split()) <= words, f"README.md, Commands: {command}"


def test_every_documented_command_is_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    typed = {
        tuple(line.split()[1:3])
        for line in text.replace("`", "\n").splitlines()
        if line.startswith("surefoot ") and len(line.split()) > 1
    }
    known = commands()
    unknown = [
        words
        for words in typed
        if not (words[0] in known or " ".join(words) in known or any(one.startswith(words[0] + " ") for one in known))
    ]
    assert [words for words in unknown if not words[0].startswith(("-", "--"))] == []


@pytest.mark.parametrize("card", sorted((ROOT / "examples").glob("*.toml")), ids=lambda path: path.stem)
def test_every_example_card_can_be_read(card: Path) -> None:
    assert read_card(card, "a-unit").knobs


def test_every_example_script_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SUREFOOT_HOME", str(tmp_path / "home"))

    def run(script: str, *arguments: str) -> None:
        command = [sys.executable, str(ROOT / "examples" / script), *arguments]
        done = subprocess.run(command, check=False, capture_output=True, text=True, cwd=tmp_path)
        assert done.returncode == 0, done.stderr

    run("make_demo_data.py", "--name", "box")
    run("draw_my_own.py", "box", "mine.html")
    assert (tmp_path / "mine.html").stat().st_size > 0
    assert {path.name for path in (ROOT / "examples").glob("*.py")} == {"make_demo_data.py", "draw_my_own.py"}
