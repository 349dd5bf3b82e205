"""From the bytes of any file that may hold a log to delimited text."""

from __future__ import annotations

import re
from dataclasses import dataclass

from surefoot.logs.encoding import decode
from surefoot.logs.packed import unpacked
from surefoot.logs.problems import Ledger
from surefoot.logs.rendered import binary_table, json_table

_ZONE_NAME = re.compile(
    rb"[0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(\s+([A-Z][A-Za-z]+/[A-Z][A-Za-z_]+(?:/[A-Z][A-Za-z_]+)?))"
)


@dataclass(frozen=True)
class Taken:
    """``utf8``: delimited text; ``first_line``: the number of its first line; ``zone``: that its stamps name."""

    utf8: bytes
    encoding: str
    first_line: int = 1
    zone: str | None = None


def take_in(data: bytes, ledger: Ledger) -> Taken:
    """Unpack, decode and render a file. Raises BadInput for what holds no table."""
    data = unpacked(data, ledger)
    table = binary_table(data, ledger)
    if table is not None:
        return Taken(table.text, "utf-8", table.first_line)
    decoded = decode(data, ledger)
    table = json_table(decoded.utf8, ledger)
    if table is not None:
        return Taken(table.text, decoded.name, table.first_line)
    utf8, zone = _without_zone_name(decoded.utf8, ledger)
    return Taken(utf8, decoded.name, zone=zone)


def _without_zone_name(utf8: bytes, ledger: Ledger) -> tuple[bytes, str | None]:
    """Stamps that end in the name of a zone, without it, where all name one and the same."""
    found = {match.group(1): match.group(2) for match in _ZONE_NAME.finditer(utf8[:65536])}
    if len(set(found.values())) != 1:
        return utf8, None
    zone = next(iter(found.values())).decode()
    for spelled in found:
        utf8 = utf8.replace(spelled, b"")
    ledger.note(f"the stamps name their zone, {zone}.")
    return utf8, zone
