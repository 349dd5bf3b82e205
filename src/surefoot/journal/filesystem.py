"""What kind of file system a folder lies on: one over a network holds no journal, one without a log of its own is said.

Over a network the write-ahead log does not work (SQLite's documentation, Write-Ahead Logging: all processes must be on
the same host), locks often do not, and while the line hangs a heartbeat hangs: nobody would watch the ceilings then.
FAT and its kin keep no log of their own changes, so that a power cut can hurt the file system itself, whatever was
flushed of a file.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

MOUNTS: Final = Path("/proc/self/mounts")
NETWORK: Final = frozenset(
    {
        *("afs", "afpfs", "acfs", "beegfs", "ceph", "cifs", "coda", "davfs", "gfs2", "glusterfs", "gpfs", "lustre"),
        *("ncpfs", "nfs", "nfs4", "ocfs2", "orangefs", "smb3", "smbfs", "webdav"),
        *("fuse.ceph", "fuse.curlftpfs", "fuse.davfs", "fuse.davfs2", "fuse.glusterfs", "fuse.mfs", "fuse.rclone"),
        *("fuse.s3fs", "fuse.smbnetfs", "fuse.sshfs"),
    }
)
UNLOGGED: Final = frozenset({"exfat", "fat", "fuse.exfat", "fuseblk.exfat", "msdos", "texfat", "umsdos", "vfat"})
SHARED: Final = frozenset({"9p", "drvfs", "fakeowner", "fuse.grpcfuse", "prl_fs", "vboxsf", "virtiofs", "vmhgfs"})
"""Folders of the system around a virtual machine or a container: what a flush reaches there is not for us to know."""
IN_MEMORY: Final = frozenset({"tmpfs", "ramfs", "devtmpfs"})

Kind = Literal["sound", "network", "unlogged", "shared", "memory", "unknown"]


@dataclass(frozen=True, slots=True)
class Ground:
    """What a folder lies on: the kind, and the system's own name for the file system."""

    kind: Kind
    name: str = ""

    @property
    def words(self) -> str:
        """What is to be said of it before settings are tried; "" when there is nothing to say."""
        if self.kind == "unlogged":
            return (
                f"The journal lies on {self.name}, which keeps no log of its own: a crash can damage the whole file "
                "system, whatever was flushed. Back it up (`surefoot journal backup`), or set SUREFOOT_HOME to a "
                "folder on another."
            )
        if self.kind == "memory":
            return (
                f"The journal lies in memory ({self.name}): a restart loses all of it. Set SUREFOOT_HOME to a folder "
                "on a disk before settings are tried."
            )
        if self.kind == "shared":
            return (
                f"The journal lies on {self.name}, shared from the system around this one: whether a flush reaches the "
                "disk there is not known. Set SUREFOOT_HOME to a folder on a disk of this machine's own."
            )
        return ""


def ground_of(folder: Path, mounts: Path | None = None) -> Ground:
    """What the nearest folder that is there lies on. ``mounts``: the list to ask, for tests. Never raises."""
    try:
        if mounts is None and sys.platform == "win32":
            return _windows(folder)
        text = (mounts or MOUNTS).read_text(encoding="utf-8", errors="surrogateescape")
        at = os.path.realpath(folder)
    except OSError:
        return Ground("unknown")
    best, name = "", ""
    for line in text.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = _unescaped(fields[1])
        inside = at == point or at.startswith(point.rstrip("/") + "/")
        # Of several on one point the last mounted is the one that is seen.
        if inside and len(point) >= len(best):
            best, name = point, fields[2]
    return Ground(_kind(name), name)


def _kind(name: str) -> Kind:
    low = name.lower()
    if low in NETWORK:
        return "network"
    if low in UNLOGGED:
        return "unlogged"
    if low in SHARED:
        return "shared"
    if low in IN_MEMORY:
        return "memory"
    return "sound" if name else "unknown"


def _unescaped(point: str) -> str:
    # Blanks, tabs, line ends and backslashes stand as octal numbers there. Source: proc_pid_mounts(5), getmntent(3).
    for code, sign in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        point = point.replace(code, sign)
    return point


def _windows(folder: Path) -> Ground:  # pragma: no cover
    import ctypes

    # GetDriveTypeW: 4 is a network drive; GetVolumeInformationW names the file system (Microsoft's documentation).
    kernel = ctypes.windll.kernel32  # type: ignore[attr-defined]
    root = str(Path(os.path.realpath(folder)).anchor)
    if root.startswith("\\\\") or kernel.GetDriveTypeW(root) == 4:
        return Ground("network", "a network drive")
    name = ctypes.create_unicode_buffer(64)
    kernel.GetVolumeInformationW(root, None, 0, None, None, None, name, 64)
    return Ground(_kind(name.value), name.value)
