"""How a boot came to its end: asked of whoever on this system keeps a record of it."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path

from surefoot.rig.system_name import system_name
from surefoot.runs import UNKNOWN_ENDING, Ending


def ending_of(boot_id: str | None, since: datetime, root: Path | None = None) -> Ending:
    """How the boot with that identity ended, which was running at ``since``. Never raises.

    Linux: the system's journal of that boot, else the login records' shutdown entry; Windows: the event log.
    ``root``: of the file tree, for tests: then only what lies in it is asked.
    """
    if system_name() == "windows" and root is None:
        from surefoot.rig.windows.event_log import records_since
        from surefoot.rig.windows.events import ending_in

        records = records_since(since)
        return (ending_in(records) if records else None) or UNKNOWN_ENDING
    if root is not None or system_name() == "linux":
        from surefoot.rig.linux_ending import linux_ending

        # A second's grace: the record of the boot itself may bear the very second of the run's start.
        return linux_ending(boot_id, since - timedelta(seconds=1), root) or UNKNOWN_ENDING
    return UNKNOWN_ENDING


def restart_record(root: Path | None = None) -> str:
    """Who keeps a record of how this system went down, in words; "" for nobody. Never raises."""
    if system_name() == "windows" and root is None:
        return "the event log" if shutil.which("wevtutil") else ""
    if root is not None or system_name() == "linux":
        from surefoot.rig.linux_ending import WTMP

        if root is None and shutil.which("journalctl") and JOURNALS.is_dir():
            return "the system's journal of each boot"
        return "the login records" if ((root or Path("/")) / WTMP).is_file() else ""
    return ""


JOURNALS = Path("/var/log/journal")
"""Where the journal is kept over a restart; without it, it is lost with the boot it tells of."""
