"""A folder of small generated logs, one oddity each, imports to the right values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from oddities import ODDITIES

from surefoot.logs import read_log


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("logs")
    for name, make in ODDITIES.items():
        (made / f"{name}.csv").write_bytes(make().data)
    return made


def test_there_are_enough() -> None:
    assert len(ODDITIES) >= 25


@pytest.mark.parametrize("name", ODDITIES)
def test_an_oddity_imports_to_the_right_values(name: str, folder: Path) -> None:
    expected = ODDITIES[name]()
    log = read_log((folder / f"{name}.csv").read_bytes(), **expected.options)
    said = "\n".join([*log.notes, *(str(problem) for problem in log.problems), *(str(c) for c in log.columns)])
    np.testing.assert_allclose(log.trace.seconds, expected.seconds, atol=1e-6, err_msg=said)
    assert set(log.trace.channels) == set(expected.channels), said
    for channel, values in expected.channels.items():
        found = log.trace.channels[channel]
        np.testing.assert_allclose(found, values, rtol=expected.tolerance, atol=1e-9, err_msg=f"{channel}\n{said}")
    assert log.started_at == expected.started_at, said
    assert log.trace.started_at == expected.started_at
    if expected.encoding:
        assert log.encoding == expected.encoding
    for piece in expected.notes:
        assert any(piece in note for note in log.notes), said
    for piece in expected.problems:
        assert any(piece in problem.text for problem in log.problems), said
    for line in expected.lines:
        assert any(problem.line == line for problem in log.problems), said
    if expected.quiet:
        assert not log.problems, said
