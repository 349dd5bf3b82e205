"""Who, besides the administrator and the owner who asks, could change a program before it is run with more rights.

Looked at is the file, each folder above it, each link on the way and what it leads to: whoever may write to a folder
may put another file in its place.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

MOST_LINKS: Final = 40
SKIPPED: Final = frozenset({"site-packages", "dist-packages", "test", "tests", "idlelib", "lib2to3", "turtledemo"})
"""Folders of Python's own library from which the helper loads nothing."""


def helper_file() -> Path:
    """The helper's own file."""
    return Path(__file__).resolve().with_name("helper.py")


def interpreter() -> Path:
    """The interpreter itself, not a virtual environment's link to it: that one reads a settings file beside it."""
    return Path(sys.executable).resolve()


def why_not(owner: int) -> str:
    """Why the helper may not be run with more rights, in words; "" when nobody else could change it.

    ``owner``: number of the user who asks.
    """
    for path in program():
        if words := who_else(path, owner):
            return words
    return ""


def program() -> Iterator[Path]:
    """Everything that the helper's process loads: the interpreter, Python's own library, and our part of it."""
    yield interpreter()
    library = Path(os.__file__).resolve().parent
    yield from _below(library)
    package = helper_file().parents[2]
    for folder in (package, package / "rig", *(package / "rig" / name for name in ("elevated", "doors", "sensors"))):
        yield from (one for one in sorted(folder.iterdir()) if not one.is_dir())
        yield from _below(folder / "__pycache__")
    yield from package.parent.glob("pynvml*")


def _below(folder: Path) -> Iterator[Path]:
    if folder.is_dir():
        yield folder
        for one in sorted(folder.iterdir()):
            if one.is_dir() and not one.is_symlink():
                if one.name not in SKIPPED:
                    yield from _below(one)
            else:
                yield one


def who_else(path: Path, owner: int) -> str:
    """Who else could change what lies at ``path``, in words; "" when nobody, or when there is nothing there."""
    try:
        for place, found in _on_the_way(path):
            if words := _writable(place, found, owner):
                return f"{place} {words}"
    except OSError as error:
        return f"{path} cannot be looked at: {error.strerror}"
    return ""


def _on_the_way(path: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """Every folder, link and file that leads to what lies at ``path``."""
    waiting = list(reversed(Path(os.path.abspath(path)).parts))
    current = Path(waiting.pop())
    yield current, os.lstat(current)
    links = 0
    while waiting:
        step = waiting.pop()
        if step == "..":
            current = current.parent
            continue
        current = current / step
        found = os.lstat(current)
        yield current, found
        if stat.S_ISLNK(found.st_mode):
            links += 1
            if links > MOST_LINKS:
                raise OSError(None, "too many links")
            target = Path(os.readlink(current))
            current = Path(target.anchor) if target.is_absolute() else current.parent
            waiting += reversed(target.parts[1:] if target.is_absolute() else target.parts)


def _writable(place: Path, found: os.stat_result, owner: int) -> str:
    if found.st_uid not in (0, owner):
        return f"belongs to {_user(found.st_uid)}"
    if stat.S_ISLNK(found.st_mode):
        return ""
    # In such a folder (/tmp) nobody may replace what belongs to somebody else, and what lies in it is looked at itself.
    sticky = stat.S_ISDIR(found.st_mode) and found.st_mode & stat.S_ISVTX
    if found.st_mode & stat.S_IWOTH and not sticky:
        return "may be changed by anybody"
    if found.st_mode & stat.S_IWGRP and not sticky and not _own_group(found.st_gid, owner, place):
        return f"may be changed by the group {_group(found.st_gid)}"
    return ""


def _own_group(group: int, owner: int, place: Path) -> bool:
    """Whether nobody is in the group but the administrator and the owner, and no list of rights names others."""
    if sys.platform == "win32":
        return False
    import grp
    import pwd

    if "system.posix_acl_access" in _attributes(place):
        return False
    try:
        members = {pwd.getpwnam(name).pw_uid for name in grp.getgrgid(group).gr_mem}
    except KeyError:
        return False
    return {*members, *(one.pw_uid for one in pwd.getpwall() if one.pw_gid == group)} <= {0, owner}


def _attributes(place: Path) -> Iterable[str]:
    # Where rights beyond the mode are kept, their most shows as the group's.
    try:
        return os.listxattr(place) if sys.platform == "linux" else ()
    except OSError:
        return ()


def _user(number: int) -> str:
    try:
        import pwd

        return f"{pwd.getpwuid(number).pw_name}"
    except (ImportError, KeyError):
        return f"user {number}"


def _group(number: int) -> str:
    try:
        import grp

        return f"{grp.getgrgid(number).gr_name}"
    except (ImportError, KeyError):
        return f"{number}"
