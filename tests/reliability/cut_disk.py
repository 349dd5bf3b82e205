"""A disk as a power cut can leave it: what was flushed stands, of the rest anything may, torn and out of order.

The model is that of POSIX, stricter than any file system: written data is safe once the file was flushed, a name in a
folder once the folder was. Until then each write may be there, not there, or there in part, whatever became of those
before it; and a name may be missing though its file was flushed.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

HEAD = struct.Struct("<cQqII")
SECTORS = (512, 4096)


@dataclass(frozen=True, slots=True)
class Change:
    """One recorded change. ``kind``: the recorder's letter."""

    kind: str
    inode: int
    offset: int
    path: str
    data: bytes


def read_log(log: Path) -> list[Change]:
    """What the recorder wrote down."""
    raw, at, found = log.read_bytes(), 0, []
    while at < len(raw):
        kind, inode, offset, path, size = HEAD.unpack_from(raw, at)
        at += HEAD.size
        name = raw[at : at + path].decode()
        found.append(Change(kind.decode(), inode, offset, name, raw[at + path : at + path + size]))
        at += path + size
    return found


@dataclass(slots=True)
class _File:
    safe: bytes = b""
    pending: list[Change] = field(default_factory=list)


def _apply(content: bytearray, change: Change, keep: int | None = None, from_: int = 0) -> None:
    if change.kind == "T":
        if change.offset <= len(content):
            del content[change.offset :]
        else:
            content.extend(bytes(change.offset - len(content)))
        return
    data = change.data[from_:keep]
    start = change.offset + from_
    if start > len(content):
        content.extend(bytes(start - len(content)))
    content[start : start + len(data)] = data


Tree = dict[str, bytes | None]
"""Every name with its file's content; None for a folder."""


class Disk:
    """Plays changes one by one; at any moment `states` tells what a cut could leave."""

    def __init__(self, before: Tree) -> None:
        self._files: dict[int, _File] = {}
        # A system gives an inode's number to another file once the first is gone: hence keys of our own.
        self._key: dict[int, int] = {}
        self._names: dict[str, int | None] = {}
        self._safe_names: dict[str, int | None] = {}
        self._moves: list[Change] = []
        for number, (path, content) in enumerate(before.items()):
            key = None if content is None else number + 1
            self._names[path] = self._safe_names[path] = key
            if key is not None:
                self._files[key] = _File(content or b"")
            else:
                self._files[number + 1] = _File()

    def play(self, change: Change) -> None:
        """Let one change happen."""
        kind = change.kind
        if kind in "CN":
            key = self._key[change.inode] = len(self._files) + 1
            self._files[key] = _File()
            if kind == "C":
                self._name(replace(change, inode=key))
        elif kind == "L":
            self._name(replace(change, kind="C", inode=self._key[change.inode]))
        elif kind == "O":
            key = self._names[change.path] or 0
            self._key[change.inode] = key
        elif kind in "WT":
            self._files[self._key[change.inode]].pending.append(change)
        elif kind == "S" and change.inode not in self._key:
            self._sync_folder(change.path)
        elif kind == "S":
            file = self._files[self._key[change.inode]]
            content = bytearray(file.safe)
            for one in file.pending:
                _apply(content, one)
            file.safe, file.pending = bytes(content), []
        elif kind in "URD":
            if kind == "R" and (old := self._names.get(change.path)) is not None:
                change = replace(change, inode=old)
            self._name(change)

    def _name(self, change: Change) -> None:
        self._moves.append(change)
        _move(self._names, change)

    def _sync_folder(self, folder: str) -> None:
        mine = [one for one in self._moves if _folder(one.path) == folder]
        for one in mine:
            _move(self._safe_names, one)
        self._moves = [one for one in self._moves if _folder(one.path) != folder]

    def whole(self) -> Tree:
        """What is there while the power is on."""
        return self._tree(self._names, lambda file: file.pending)

    def _tree(self, names: dict[str, int | None], kept) -> Tree:
        tree: Tree = {}
        for path, key in sorted(names.items()):
            if key is None:
                tree[path] = None
                continue
            file = self._files[key]
            changes = kept(file)
            if not changes:
                # The same bytes as ever, whose hash Python knows already.
                tree[path] = file.safe
                continue
            content = bytearray(file.safe)
            for one in changes:
                if isinstance(one, tuple):
                    _apply(content, one[0], one[2], one[1])
                else:
                    _apply(content, one)
            tree[path] = bytes(content)
        # A file in a folder whose own name was lost is lost with it.
        return {path: held for path, held in tree.items() if all(p in tree for p in _above(path, names, self._names))}

    def states(self, chance: random.Random, shuffles: int = 6) -> Iterator[tuple[str, Tree]]:
        """What a cut now could leave, each with how it came to be."""
        pending = any(file.pending for file in self._files.values())
        none = dict(self._safe_names)
        yield "nothing unflushed kept", self._tree(none, lambda file: [])
        if self._moves:
            yield "names lost, data kept", self._tree(none, lambda file: file.pending)
            yield "names kept, data lost", self._tree(self._names, lambda file: [])
        if not pending:
            return
        yield "everything kept", self.whole()
        for sector in SECTORS:
            yield f"the last write torn at {sector}", self._tree(self._names, lambda file, s=sector: _torn(file, s))
        for number in range(shuffles):
            sector = SECTORS[number % 2]
            names = dict(self._safe_names)
            for move in self._moves:
                if chance.random() < 0.7:
                    _move(names, move)
            picked = {key: _some(file, chance, sector) for key, file in self._files.items()}
            by_file = {id(self._files[key]): some for key, some in picked.items()}
            yield f"reordered, torn at {sector}", self._tree(names, lambda file, b=by_file: b[id(file)])


def _torn(file: _File, sector: int) -> list[Change | tuple[Change, int, int]]:
    if not file.pending:
        return []
    *before, last = file.pending
    if last.kind == "T" or len(last.data) <= sector:
        return [*before]
    return [*before, (last, 0, len(last.data) // 2 // sector * sector or sector)]


def _some(file: _File, chance: random.Random, sector: int) -> list[Change | tuple[Change, int, int]]:
    kept: list[Change | tuple[Change, int, int]] = []
    for one in file.pending:
        what = chance.random()
        if what < 0.35:
            continue
        if what < 0.6 and one.kind == "W" and len(one.data) > sector:
            edge = chance.randrange(1, -(-len(one.data) // sector)) * sector
            kept.append((one, 0, edge) if chance.random() < 0.5 else (one, edge, len(one.data)))
        else:
            kept.append(one)
    return kept


def _move(names: dict[str, int | None], change: Change) -> None:
    if change.kind == "C":
        names[change.path] = change.inode
    elif change.kind == "D":
        names[change.path] = None
    elif change.kind == "U":
        names.pop(change.path, None)
    else:
        # The new name leads to the file also where the old one never reached the disk.
        names.pop(change.path, None)
        names[change.data.decode()] = change.inode


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _above(path: str, names: dict[str, int | None], known: dict[str, int | None]) -> list[str]:
    """The folders above a path that were made while it was recorded, or stood at its beginning."""
    found, at = [], _folder(path)
    while at:
        if at in names or at in known:
            found.append(at)
        at = _folder(at)
    return found
