"""Nothing is taken wrongly without a word: designed logs, and what must be said of some."""

from __future__ import annotations

import pytest
from designed import CASES, silently_wrong


@pytest.mark.parametrize("name", CASES)
def test_it_is_right_or_asked_or_refused(name: str) -> None:
    assert not silently_wrong(CASES[name]())
