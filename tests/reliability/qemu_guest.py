"""A small machine in QEMU that can really be reset: a Debian kernel, this machine's own files read only, one disk.

Nothing is installed into it: its root is this machine's ``/`` over 9p, so that it runs the Python and the source that
are being tried. What it keeps lies on one ext4 disk (write-back, as a disk with a cache); all else is memory, gone with
a reset. Kernel and busybox are fetched once, by ``apt-get download``, into ``build/qemu`` beside the source.
"""

from __future__ import annotations

import compileall
import json
import os
import re
import shlex
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

HERE = Path(__file__).resolve().parent
SOURCE = HERE.parents[1] / "src"
PARTS = HERE.parents[1] / "build" / "qemu"
MODULES = ("virtio_pci", "virtio_blk", "virtio_net", "9pnet_virtio", "9p", "crc32c_generic", "ext4")
PACKAGES = ("linux-image-amd64", "busybox-static")

INIT = """#!/bin/busybox sh
/bin/busybox mkdir -p /proc /sys /dev /new /sbin /usr/bin /usr/sbin
/bin/busybox --install -s /bin
export PATH=/bin
mount -t proc proc /proc; mount -t sysfs sys /sys; mount -t devtmpfs dev /dev
for module in /modules/*.ko; do insmod $module; done
mount -t 9p -o trans=virtio,version=9p2000.L,msize=262144,cache=loose,ro root /new || poweroff -f
for place in dev proc sys; do mount --move /$place /new/$place; done
mount -t tmpfs run /new/run; mount -t tmpfs tmp /new/var/tmp
mkdir -p /new/run/tmp
mount -t ext4 /new/dev/vda /new/mnt || poweroff -f
for word in $(cat /new/proc/cmdline); do case $word in guest.script=*) script=${word#guest.script=};; esac; done
exec switch_root /new /bin/sh $script
"""


def tool(name: str) -> str | None:
    """Where a program lies; the administrator's are not on everybody's path."""
    return shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")


def why_not() -> str:
    """What is missing here for such a machine, in words; "" when nothing is."""
    tools = ("qemu-system-x86_64", "dpkg-deb", "mkfs.ext4", "debugfs")
    missing = [name for name in tools if tool(name) is None]
    if missing:
        return f"not here: {', '.join(missing)}"
    return "" if os.geteuid() == 0 else "needs the administrator's rights, to share this machine's files with it"


def fetched() -> tuple[Path, Path]:
    """Kernel and initramfs, made of Debian's packages the first time; the source is compiled, since a slow processor
    that may write nothing would do that after every reset."""
    compileall.compile_dir(SOURCE, quiet=1)
    compileall.compile_dir(HERE, quiet=1)
    kernel, initramfs = PARTS / "vmlinuz", PARTS / "initramfs"
    if kernel.exists() and initramfs.exists():
        initramfs.write_bytes(_initramfs())
        return kernel, initramfs
    PARTS.mkdir(parents=True, exist_ok=True)
    for package in PACKAGES:
        told = subprocess.run(["apt-cache", "depends", package], capture_output=True, text=True, check=True).stdout
        real = re.search(r"Depends: (linux-image-[\d.]+-\d+-amd64)\b", told)
        name = real[1] if real else package
        subprocess.run(["apt-get", "download", name], cwd=PARTS, check=True, capture_output=True)
    for file in PARTS.glob("*.deb"):
        subprocess.run(["dpkg-deb", "-x", str(file), str(PARTS / "files")], check=True)
    (found,) = (PARTS / "files" / "boot").glob("vmlinuz-*")
    kernel.write_bytes(found.read_bytes())
    initramfs.write_bytes(_initramfs())
    return kernel, initramfs


def _initramfs() -> bytes:
    files = {"init": INIT.encode(), "bin/busybox": (PARTS / "files/bin/busybox").read_bytes()}
    for number, module in enumerate(_in_order()):
        files[f"modules/{number:02}-{module.name}"] = module.read_bytes()
    return _cpio(files)


def _in_order() -> list[Path]:
    """The modules, each after those that it depends on."""
    there = {file.stem.replace("-", "_"): file for file in (PARTS / "files/lib/modules").rglob("*.ko")}
    order: list[Path] = []

    def add(name: str) -> None:
        file = there[name.replace("-", "_")]
        told = re.search(rb"\0depends=([^\0]*)\0", b"\0" + file.read_bytes())
        for other in (told[1].decode() if told else "").split(","):
            if other:
                add(other)
        if file not in order:
            order.append(file)

    for name in MODULES:
        add(name)
    return order


def _cpio(files: Mapping[str, bytes]) -> bytes:
    """An archive in the kernel's format (initramfs buffer format, newc)."""
    folders = sorted({str(parent) for name in files for parent in Path(name).parents if str(parent) != "."})
    entries = [(name, 0o40755, b"") for name in folders] + [(name, 0o100755, data) for name, data in files.items()]
    archive = b""
    for number, (name, mode, data) in enumerate([*entries, ("TRAILER!!!", 0, b"")], start=1):
        raw = name.encode() + b"\0"
        fields = (number, mode, 0, 0, 1, 0, len(data), 0, 0, 0, 0, len(raw), 0)
        head = b"070701" + b"".join(b"%08X" % field for field in fields) + raw
        archive += head + b"\0" * (-len(head) % 4) + data + b"\0" * (-len(data) % 4)
    return archive


class Guest:
    """One machine. ``script``: what it runs once its disk is there; ``folder``: for its disk and its sockets.

    ``port``: of this machine's loopback, that leads to its own port 22; None for no network. What it writes to
    ``/dev/ttyS1`` comes out of `said`, a line at a time. Its processor is QEMU's own (TCG), slow.
    """

    def __init__(self, folder: Path, script: str, port: int | None = None, memory: int = 768) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.disk, self.console = folder / "disk", folder / "console.txt"
        with self.disk.open("wb") as file:
            file.truncate(256 << 20)
        subprocess.run([tool("mkfs.ext4") or "mkfs.ext4", "-q", "-F", str(self.disk)], check=True)
        (folder / "guest.sh").write_text(script)
        kernel, initramfs = PARTS / "vmlinuz", PARTS / "initramfs"
        network = ["-nic", "none"]
        if port is not None:
            network = ["-nic", f"user,model=virtio-net-pci,hostfwd=tcp:127.0.0.1:{port}-:22"]
        self._process = subprocess.Popen(
            [
                *(
                    "nice",
                    "-n",
                    "10",
                    "qemu-system-x86_64",
                    "-accel",
                    "tcg",
                    "-cpu",
                    "max",
                    "-m",
                    str(memory),
                    "-smp",
                    "1",
                    *network,
                ),
                *("-kernel", str(kernel), "-initrd", str(initramfs), "-display", "none", "-no-user-config"),
                # The check of the timer panics where the emulator waits for a processor of the host's.
                *("-append", f"console=ttyS0 panic=5 no_timer_check guest.script={folder / 'guest.sh'}"),
                *("-virtfs", "local,path=/,mount_tag=root,security_model=none,readonly=on,multidevs=remap"),
                *("-drive", f"file={self.disk},format=raw,if=virtio,cache=writeback"),
                *("-serial", f"file:{self.console}"),
                *("-chardev", f"socket,id=said,path={folder / 'said'},server=on,wait=off", "-serial", "chardev:said"),
                *("-qmp", f"unix:{folder / 'qmp'},server=on,wait=off", "-rtc", "base=utc"),
            ],
            stdin=subprocess.DEVNULL,
            stderr=(folder / "qemu.txt").open("wb"),
        )
        self._qmp = _joined(folder / "qmp")
        self._said = _joined(folder / "said")
        self._answers = self._qmp.makefile("rb")
        self._answers.readline()
        self._speaking = threading.Lock()
        self._ask("qmp_capabilities")

    def said(self) -> Iterator[str]:
        """Each line as it comes, until the machine is switched off."""
        with self._said.makefile("rb") as lines:
            for line in lines:
                yield line.decode("utf-8", errors="replace").strip()

    def reset(self) -> None:
        """As its reset button does."""
        self._ask("system_reset")

    def wait(self, seconds: float) -> None:
        """Until it is switched off."""
        self._process.wait(timeout=seconds)

    def off(self) -> None:
        """Pull the plug."""
        self._process.kill()
        self._process.wait()

    def kept(self, place: str, into: Path) -> Path:
        """A folder of its disk, taken out once it is off."""
        into.mkdir(parents=True, exist_ok=True)
        ask = [tool("debugfs") or "debugfs", "-R", f"rdump {place} {into}", str(self.disk)]
        subprocess.run([tool("e2fsck") or "e2fsck", "-fy", str(self.disk)], check=False, capture_output=True)
        subprocess.run(ask, check=True, capture_output=True)
        return into / Path(place).name

    def _ask(self, command: str) -> None:
        with self._speaking:
            self._qmp.sendall(json.dumps({"execute": command}).encode() + b"\n")
            while "return" not in (told := json.loads(self._answers.readline())):
                if "error" in told:
                    raise RuntimeError(f"QEMU: {told['error']}")


def _joined(path: Path) -> socket.socket:
    end = socket.socket(socket.AF_UNIX)
    for _ in range(200):
        try:
            end.connect(str(path))
        except OSError:
            time.sleep(0.05)
        else:
            return end
    raise RuntimeError(f"QEMU did not open {path}")


def surroundings(home: str) -> str:
    """Lines of a shell script that make Surefoot's own surroundings in the guest. ``home``: the data directory."""
    path = f"{Path(sys.executable).parent}:/usr/sbin:/usr/bin:/sbin:/bin:{os.environ.get('PATH', '')}"
    modules = os.pathsep.join([str(SOURCE), *filter(None, [os.environ.get("PYTHONPATH")])])
    return (
        f"export PATH={shlex.quote(path)}\n"
        f"export HOME=/mnt/user XDG_DATA_HOME=/mnt/user XDG_CONFIG_HOME=/mnt/user TMPDIR=/run/tmp LC_ALL=C.UTF-8\n"
        f"export SUREFOOT_HOME={home} PYTHONPATH={shlex.quote(modules)} PYTHONDONTWRITEBYTECODE=1 COLUMNS=400\n"
        "mkdir -p /mnt/user /run/tmp\n"
    )
