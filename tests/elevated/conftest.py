from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from elevated_tree import Unit_


@pytest.fixture
def machine(tmp_path: Path) -> Unit_:
    if os.name != "posix":
        pytest.skip("made-up trees are for the kernel's interfaces")
    return Unit_(tmp_path)
