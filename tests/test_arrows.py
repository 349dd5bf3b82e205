"""The arrows of the house: who may import whom, and what the command may import when it starts."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HEAVY = ("pandas", "scipy", "altair", "vl_convert", "jinja2", "matplotlib")


def test_arrows_point_one_way() -> None:
    from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml")) == EXIT_STATUS_SUCCESS


@pytest.mark.parametrize("arguments", [["--help"], ["recall", "nobody"], ["recall", "--help"]])
def test_starting_brings_no_heavy_library(arguments: list[str], tmp_path: Path) -> None:
    script = (
        "import sys\n"
        f"sys.argv = ['surefoot', *{arguments!r}]\n"
        "from surefoot.cli.main import run\n"
        "try:\n    run()\nexcept SystemExit:\n    pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={"SUREFOOT_HOME": str(tmp_path), "PATH": "", "NO_COLOR": "1"},
    )
    assert done.stderr.strip().splitlines()[-1] == "[]"
