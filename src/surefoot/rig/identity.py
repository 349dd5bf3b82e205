"""Which machine this is: text that stays the same over restarts and updates, and tells nothing of its owner."""

from __future__ import annotations

import hashlib
import hmac
import sys
import uuid
from pathlib import Path

APPLICATION = b"surefoot: which machine a unit is"
MACHINE_ID = Path("etc/machine-id")
BOARD = tuple(Path("sys/class/dmi/id") / name for name in ("sys_vendor", "product_name", "board_name"))


def machine_identity(root: Path = Path("/")) -> str:
    """The identity of this machine; "" when it has none to be known by.

    Linux: the installation's machine-id with what the firmware says of the board, so that a disk moved to another
    model is another machine. Hashed with a key of ours, as machine-id(5) asks of what leaves the machine. Elsewhere the
    system's own identity, else the hardware address of a network card.
    """
    parts = [_read(root / MACHINE_ID) or _of_the_system(), *(_read(root / path) for path in BOARD)]
    if not parts[0]:
        return ""
    return hmac.new(APPLICATION, "\n".join(parts).encode(), hashlib.sha256).hexdigest()[:32]


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _of_the_system() -> str:
    if sys.platform == "win32":
        import winreg

        try:
            with winreg.OpenKey(winreg.HKEY_LOCAL_MACHINE, r"SOFTWARE\Microsoft\Cryptography") as key:
                return str(winreg.QueryValueEx(key, "MachineGuid")[0])
        except OSError:
            pass
    node = uuid.getnode()
    # Without a card Python makes a random address up, marked as multicast (RFC 4122, 4.5): another one each time.
    return "" if node >> 40 & 1 else f"{node:012x}"
