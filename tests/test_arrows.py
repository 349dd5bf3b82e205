"""The arrows of the house: who may import whom, and what the command may import when it starts."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
HEAVY = ("pandas", "scipy", "altair", "vl_convert", "jinja2", "matplotlib")


def test_arrows_point_one_way() -> None:
    from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml")) == EXIT_STATUS_SUCCESS


@pytest.mark.parametrize(
    ("importer", "imported", "allowed"),
    [
        ("surefoot.report.gather", "surefoot.journal.journal", False),
        ("surefoot.report.chapters.answer", "surefoot.journal", False),
        ("surefoot.report.page", "surefoot.guide.attach", False),
        ("surefoot.report.material", "surefoot.rig.hands", False),
        ("surefoot.report.page", "surefoot.journal.reader", True),
    ],
)
def test_a_report_that_would_write_is_seen(importer: str, imported: str, allowed: bool) -> None:
    """The contract itself, against one import more than there is."""
    import grimp
    from importlinter.configuration import configure
    from importlinter.contracts.forbidden import ForbiddenContract

    configure()
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    name = "The report does not import what writes"
    options = next(one for one in settings["contracts"] if one["name"] == name)
    contract = ForbiddenContract(
        name,
        {"root_packages": settings["root_packages"]},
        {**options, "forbidden_modules": _ours(options), "allow_indirect_imports": "true"},
    )
    graph = grimp.build_graph("surefoot")
    graph.add_import(importer=importer, imported=imported)
    assert contract.check(graph, verbose=False).kept is allowed


def _ours(options: dict[str, list[str]]) -> list[str]:
    """The forbidden modules that are our own: the graph of this test holds no others."""
    return [one for one in options["forbidden_modules"] if one.startswith("surefoot.")]


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
