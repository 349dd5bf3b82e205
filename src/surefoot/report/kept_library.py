"""The charting library's JavaScript as it was made once on this machine: making it anew takes a second each time.

Kept in the user's folder for what can be made again, never in a data directory: a journal that came from elsewhere must
not bring along what a page will run. What is found counts only where its letters are those that were written, and where
nobody but the user could have written them.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from pathlib import Path

LARGEST_BYTES = 20_000_000


def kept(snippet: str) -> str | None:
    """The library as it was kept, None where there is none for this version, or none to be trusted."""
    try:
        place = _place(snippet)
        if _may_be_anothers(place) or place.stat().st_size > LARGEST_BYTES:
            return None
        sum_, _, text = place.read_text(encoding="utf-8").partition("\n")
    except (OSError, UnicodeDecodeError, RuntimeError):
        return None
    return text if sum_ == _sum(text) else None


def keep(snippet: str, text: str) -> None:
    """Keep it; where that cannot be done nothing is lost."""
    from surefoot.whole_file import put_bytes

    with suppress(OSError, RuntimeError):
        place = _place(snippet)
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        put_bytes(f"{_sum(text)}\n{text}".encode(), place, overwrite=True)
        for old in place.parent.glob("charts-*.js"):
            if old != place:
                old.unlink(missing_ok=True)


def _place(snippet: str) -> Path:
    from importlib.metadata import version

    from platformdirs import user_cache_path

    name = f"charts-{version('vl-convert-python')}-{hashlib.sha256(snippet.encode()).hexdigest()[:8]}.js"
    return user_cache_path("surefoot", appauthor=False) / name


def _may_be_anothers(place: Path) -> bool:
    """Whether somebody else may have written the file, as far as the system tells."""
    if not hasattr(os, "getuid"):
        return False
    return any(one.stat().st_uid != os.getuid() or one.stat().st_mode & 0o022 for one in (place, place.parent))


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
