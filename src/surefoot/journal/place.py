"""Where the journal is kept."""

from __future__ import annotations

import os
from pathlib import Path

FILE_NAME = "journal.sqlite"


def home() -> Path:
    """The data directory: `SUREFOOT_HOME`, or the user data directory of the operating system. Not created here."""
    chosen = os.environ.get("SUREFOOT_HOME", "").strip()
    if chosen:
        return Path(chosen).expanduser()
    from platformdirs import user_data_path

    return user_data_path("surefoot", appauthor=False)


def journal_path(path: str | os.PathLike[str] | None = None) -> Path:
    """The journal's file: ``path`` itself, `journal.sqlite` in it when it is a directory, or the one in `home`."""
    if path is None:
        return home() / FILE_NAME
    given = Path(path).expanduser()
    return given / FILE_NAME if given.is_dir() else given
