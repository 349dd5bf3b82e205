"""One thread for our own arithmetic, and nothing of that in what the user's commands are started with."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from surefoot import threads
from surefoot.rig.card_commands import CardCommand, run, start

ASK = (
    sys.executable,
    "-c",
    "import os; print([os.environ.get(n) for n in ('OPENBLAS_NUM_THREADS', 'MKL_NUM_THREADS')])",
)


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in threads.VARIABLES:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(threads, "_ours", set())


@pytest.mark.usefixtures("bare")
def test_a_users_command_is_started_as_the_user_has_it() -> None:
    threads.one_each()
    try:
        assert os.environ["OPENBLAS_NUM_THREADS"] == "1"
        load = CardCommand("loads.own", ASK)
        assert run(load, capture_output=True, text=True).stdout.strip() == "[None, None]"
        with start(load, stdout=subprocess.PIPE) as process:
            assert process.communicate()[0].decode().strip() == "[None, None]"
    finally:
        for name in threads.VARIABLES:
            os.environ.pop(name, None)


@pytest.mark.usefixtures("bare")
def test_a_number_that_the_user_set_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OMP_NUM_THREADS", "3")
    threads.one_each()
    assert "OPENBLAS_NUM_THREADS" not in os.environ
    assert threads.as_the_user_has_it()["OMP_NUM_THREADS"] == "3"


def test_the_command_itself_works_with_one(tmp_path: Path) -> None:
    program = (
        "import sys; sys.argv = ['surefoot', '--version']\n"
        "from surefoot.cli.main import run\n"
        "assert 'numpy' not in sys.modules, 'numpy reads the number when it is imported: too early'\n"
        "import os\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        "print(os.environ['OPENBLAS_NUM_THREADS'])\n"
    )
    bare = {name: value for name, value in os.environ.items() if name not in threads.VARIABLES}
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=tmp_path, env=bare
    )
    assert done.stdout.splitlines()[-1:] == ["1"], done.stderr
