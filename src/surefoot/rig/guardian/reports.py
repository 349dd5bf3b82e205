"""What guardians did: one JSON line each in a file beside the journal, written by them and read at the next start."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from surefoot.rig.elevated.kept import FOLDER as KEPT
from surefoot.rig.elevated.kept import STEPPED_IN
from surefoot.units import Unit

FILE_NAME: Final = "guardian.jsonl"
MOST_BYTES: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class GuardianReport:
    """One time that a guardian stepped in. ``at_stock``: whether stock was applied and, where it can be, read back."""

    at: datetime
    unit_name: str
    at_stock: bool
    words: str


def write_report(path: Path, report: GuardianReport) -> None:
    """Append one line and see it on disk. Raises OSError where that cannot be done."""
    line = json.dumps(
        {
            "at": report.at.isoformat(),
            "unit": report.unit_name,
            "at_stock": report.at_stock,
            "words": report.words,
        }
    )
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a", encoding="utf-8") as file:
        file.write(f"{line}\n")
        file.flush()
        os.fsync(file.fileno())


def reports_since(path: Path, unit_name: str, since: datetime) -> list[GuardianReport]:
    """The reports on a unit since a moment, oldest first; a torn or foreign line is passed over. Never raises."""
    found = [report for line in _lines(path) if (report := _report(line)) is not None]
    return [report for report in found if report.unit_name == unit_name and report.at >= since]


def all_reports(path: Path, unit: Unit, since: datetime) -> list[GuardianReport]:
    """Of the guardians that write to ``path``, and of the helper with the administrator's rights where the card has
    doors; oldest first. Never raises."""
    found = reports_since(path, unit.name, since)
    if unit.hands.doors:
        own = set(unit.hands.doors.values())
        for line in _lines(KEPT / STEPPED_IN):
            with contextlib.suppress(ValueError, KeyError, TypeError):
                read = json.loads(line)
                if own & set(read["doors"]) and (at := datetime.fromisoformat(read["at"])) >= since:
                    found.append(GuardianReport(at, unit.name, read["at_stock"] is True, str(read["words"])))
    return sorted(found, key=lambda one: one.at)


def _lines(path: Path) -> list[str]:
    try:
        with path.open("rb") as file:
            file.seek(0, os.SEEK_END)
            file.seek(max(0, file.tell() - MOST_BYTES))
            return file.read().decode("utf-8", errors="replace").splitlines()
    except OSError:
        return []


def _report(line: str) -> GuardianReport | None:
    try:
        read: Any = json.loads(line)
        if not isinstance(read, Mapping):
            return None
        at = datetime.fromisoformat(str(read["at"]))
        at = at if at.tzinfo else at.replace(tzinfo=UTC)
        return GuardianReport(at, str(read["unit"]), read["at_stock"] is True, str(read["words"]))
    except (ValueError, KeyError):
        return None
