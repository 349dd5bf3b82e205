"""Hardware errors and driver resets that Windows logged, each told once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from surefoot.rig.faults import LoggedFault
from surefoot.rig.windows.event_log import records_since
from surefoot.rig.windows.events import EventRecord, faults_in_records

Ask = Callable[[datetime], "list[EventRecord] | None"]


class EventLogWatch:
    """The watch over the system's event log. ``ask``: a stand-in for the log, for tests."""

    def __init__(self, ask: Ask = records_since) -> None:
        self._ask = ask
        self._began = datetime.now(UTC)
        self._told = -1

    def since(self, moment: datetime | None = None) -> list[LoggedFault]:
        """What was logged since ``moment`` (the start of the watch for None); what was told is not told again."""
        records = self._ask(moment or self._began) or []
        fresh = [one for one in records if one.record < 0 or one.record > self._told]
        self._told = max([self._told, *(one.record for one in records)])
        return faults_in_records(fresh)

    def blind_spots(self) -> tuple[str, ...]:
        """In words, when the log cannot be asked."""
        if self._ask(datetime.now(UTC)) is not None:
            return ()
        return (
            "The system's event log cannot be asked: corrected errors and driver resets cannot be seen, so a run that "
            "had some may be called held.",
        )
