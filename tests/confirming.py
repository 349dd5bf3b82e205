"""Commands of made-up cards, confirmed for a home as a user would have: for tests of what comes after the question."""

from __future__ import annotations

import json
from pathlib import Path

from surefoot.rig.card_commands import FILE_NAME, commands_of
from surefoot.units import Unit


def confirm_in(home: Path, unit: Unit) -> None:
    """As `surefoot unit confirm` leaves it in that home."""
    home.mkdir(parents=True, exist_ok=True)
    with (home / FILE_NAME).open("a", encoding="ascii") as file:
        for command in commands_of(unit, away=True):
            file.write(json.dumps({"key": command.key()}) + "\n")
    (home / FILE_NAME).chmod(0o600)


class Everything(set[str]):
    """Every command there is."""

    def __contains__(self, key: object) -> bool:
        return True
