"""Moments of time as the journal writes them: ISO 8601, UTC, microseconds."""

from __future__ import annotations

from datetime import UTC, datetime

from surefoot.errors import BadInput


def stamp(at: datetime | None = None) -> str:
    """The text of a moment, now by default. Raises BadInput for one without a time zone."""
    if at is None:
        at = datetime.now(UTC)
    if at.utcoffset() is None:
        raise BadInput(f"the time {at.isoformat()} has no time zone.", remedy="Give one, for example +00:00 for UTC.")
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def moment(text: str) -> datetime:
    """The moment of a text written by `stamp`. Raises ValueError for what is none, a number as well."""
    if not isinstance(text, str):
        raise ValueError(f"no moment: {text!r}")
    return datetime.fromisoformat(text)
