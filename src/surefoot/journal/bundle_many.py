"""A folder of bundles entered into one journal, each whole or not at all; given again, it goes on where it stopped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from surefoot.errors import BadInput, SurefootError
from surefoot.journal.bundle import HEAD_BYTES, SQLITE_HEAD, Bundled, load_bundle
from surefoot.journal.journal import Journal


@dataclass(frozen=True)
class Gathered:
    """``bundles``: those that were entered, in the order of their names; ``refused``: file and why, in words."""

    bundles: tuple[Bundled, ...]
    refused: tuple[tuple[Path, str], ...]


def load_folder(journal: Journal, folder: Path, *, told: Callable[[int, int], None] | None = None) -> Gathered:
    """Enter every bundle in a folder. One that is entered already adds nothing, so a broken-off load is just repeated.

    A bundle that cannot be used is named, and the others go on. ``told``: how many are done, and of how many. Raises
    BadInput for a folder without any.
    """
    files = sorted(file for file in folder.iterdir() if file.is_file() and _is_database(file))
    if not files:
        raise BadInput("there is no bundle in this folder.", where=str(folder))
    done: list[Bundled] = []
    refused: list[tuple[Path, str]] = []
    for at, file in enumerate(files):
        try:
            done.append(load_bundle(journal, file))
        except BadInput as error:
            refused.append((file, _words(error)))
        if told:
            told(at + 1, len(files))
    return Gathered(tuple(done), tuple(refused))


def _is_database(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(HEAD_BYTES).startswith(SQLITE_HEAD)


def _words(error: SurefootError) -> str:
    return f"{error.what} {error.remedy or ''}".strip()
