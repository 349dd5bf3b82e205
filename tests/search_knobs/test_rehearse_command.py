"""`surefoot rehearse --knobs`, as a user meets it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from surefoot.cli.main import app


def asked(*words: str):
    return CliRunner().invoke(app, ["rehearse", "--seed", "4", "--workers", "1", *words])


def test_several_knobs_as_json():
    found = asked("--knobs", "two", "--units", "3", "--strategy", "posterior", "--json")
    assert found.exit_code == 0, found.output
    said = json.loads(found.output)
    (one,) = said["knobs"]
    assert (one["units"], one["seed"], one["card"], one["strategy"]) == (3, 4, "two", "posterior")
    assert 0 <= one["honest"] <= 1
    assert one["hours"] > 0
    assert set(one["give_away"]) == {"cpu-core", "gpu-core"}
    assert found.output == asked("--knobs", "two", "--units", "3", "--strategy", "posterior", "--json").output


def test_several_knobs_fit_80_columns():
    found = asked("--knobs", "three", "--units", "2")
    assert found.exit_code == 0, found.output
    assert "three knobs: 2 units, seed 4" in found.output
    assert "ladder" in found.output
    assert "gpu-memory (MHz)" in found.output
    assert max(len(line) for line in found.output.splitlines()) <= 80


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--knobs", "nine"), "no card 'nine'"),
        (("--knobs", "two", "--strategy", "guess"), "no strategy 'guess'"),
        (("--knobs", "two", "--table"), "units of its own"),
    ],
)
def test_bad_asking_changes_nothing_and_says_what_is_allowed(words, says):
    from surefoot.errors import BadInput

    found = asked(*words, "--units", "1")
    # The runner calls the app below the place where errors are printed; what is raised is what is printed.
    assert isinstance(found.exception, BadInput | SystemExit)
    assert says in (str(found.exception) + found.output)
