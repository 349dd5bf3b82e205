from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from surefoot.journal import Journal

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "guide"))

from unit_there import UnitThere


@pytest.fixture
def there(tmp_path: Path) -> UnitThere:
    if os.name != "posix":
        pytest.skip("the stand-in for a machine is a shell script")
    folder = tmp_path / "far"
    folder.mkdir()
    return UnitThere(folder)


@pytest.fixture
def journal(tmp_path: Path, there: UnitThere) -> Iterator[Journal]:
    with Journal.open(tmp_path / "home") as opened:
        opened.add_unit(there.unit)
        yield opened
