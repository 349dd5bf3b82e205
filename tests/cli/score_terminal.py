"""A terminal for tests: runs a command as the user does."""

from __future__ import annotations

import json

import pytest

from surefoot.cli.main import run as surefoot


class Terminal:
    """Runs commands and gives back the exit code and what was printed."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self._monkeypatch = monkeypatch
        self._capsys = capsys
        self.out = ""
        self.err = ""

    def __call__(self, *arguments: str) -> int:
        self._monkeypatch.setattr("sys.argv", ["surefoot", *arguments])
        self._capsys.readouterr()
        try:
            surefoot()
            code = 0
        except SystemExit as end:
            code = int(end.code or 0)
        seen = self._capsys.readouterr()
        self.out, self.err = seen.out, seen.err
        return code

    def json(self, *arguments: str) -> dict:
        assert self(*arguments, "--json") == 0, self.err
        return json.loads(self.out)

    @property
    def words(self) -> str:
        """What was printed, on one line."""
        return " ".join(self.out.split())
