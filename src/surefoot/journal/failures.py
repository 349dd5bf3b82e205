"""What SQLite or the file system says, as a JournalError that tells what to do next."""

from __future__ import annotations

import errno
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from surefoot.errors import BadInput, JournalError

DAMAGED_REMEDY = (
    "Surefoot did not change it. Copy the whole folder to another disk first and check that disk for faults. "
    "`surefoot journal check` says what is wrong, `surefoot journal rescue FILE` brings what is readable into a new "
    "file; put that, or your last backup, in its place."
)
LEAST_BYTES = 256 * 1024
"""With less than this a disk counts as full: the log and its shared memory need more."""
READ_ONLY_REMEDY = "Make the folder writable, or set SUREFOOT_HOME to one that is."


class NotWritable(JournalError):
    """The journal is there, but this user or this place does not let it be written."""


class DiskFull(JournalError):
    """There is no room for a record."""


def damaged(path: Path, seen: str) -> JournalError:
    """The error for a file that is not whole."""
    return JournalError(f"the journal is damaged ({seen}).", where=str(path), remedy=DAMAGED_REMEDY)


def unreadable(path: Path, what: str, why: object) -> JournalError:
    """The error for one record that cannot be read back. ``what``: which, as `run 7`."""
    return JournalError(
        f"{what} cannot be read: {why}.",
        where=str(path),
        remedy="It was written by another version of Surefoot, or the file is damaged.",
    )


def disk_full(path: Path) -> DiskFull:
    """The error for a record that there was no room for."""
    return DiskFull(
        "the disk is full; the record was not written.",
        where=str(path),
        remedy="Free some space, then give the command again; what was written before is safe.",
    )


def translate(error: sqlite3.Error, path: Path) -> JournalError:
    """A JournalError for an error of SQLite's."""
    text = str(error)
    low = text.lower()
    where = str(path)
    if "locked" in low or "busy" in low:
        return JournalError(
            "another program keeps the journal locked.",
            where=where,
            remedy="Close the program that has the file open for writing, then try again; nothing was written.",
        )
    if "readonly" in low or "read-only" in low:
        return NotWritable("the journal cannot be written.", where=where, remedy=READ_ONLY_REMEDY)
    if "disk is full" in low or "full" in low.split():
        return disk_full(path)
    if "unable to open" in low:
        return NotWritable("the journal cannot be opened.", where=where, remedy=READ_ONLY_REMEDY)
    if "disk i/o" in low and _no_room(path):
        # Where there is no room for its shared memory or its log, SQLite says only that.
        return disk_full(path)
    if "disk i/o" in low:
        return JournalError(
            f"the disk reported an error ({text}).", where=where, remedy="Check the disk before any further run."
        )
    if "malformed" in low or "not a database" in low or "corrupt" in low or "encrypted" in low:
        return damaged(path, text)
    if isinstance(error, sqlite3.IntegrityError):
        return JournalError(f"the journal refused a record: {text}.", where=where, remedy="Nothing was written.")
    return JournalError(f"the journal could not be used: {text}.", where=where, remedy="Nothing was written.")


def not_kept(error: UnicodeEncodeError | OverflowError) -> BadInput:
    """A BadInput for a value that no journal can hold: half of a character, a whole number beyond 64 bits."""
    what = "a whole number is" if isinstance(error, OverflowError) else "a text holds what is no character, so it is"
    return BadInput(f"{what} nothing that can be kept.", remedy="Nothing was written.")


def _no_room(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < LEAST_BYTES
    except OSError:
        return False


@contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn errors of SQLite and of the file system inside the block into JournalErrors."""
    try:
        yield
    except sqlite3.Error as error:
        raise translate(error, path) from error
    except PermissionError as error:
        raise NotWritable(
            f"no permission: {error.strerror or error}.", where=error.filename or str(path), remedy=READ_ONLY_REMEDY
        ) from error
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise disk_full(path) from error
        kind = NotWritable if error.errno == errno.EROFS else JournalError
        raise kind(
            f"the file system said: {error.strerror or error}.",
            where=str(error.filename or path),
            remedy=READ_ONLY_REMEDY,
        ) from error
