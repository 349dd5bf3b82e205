"""Whatever value stands in a field of a bundle from elsewhere: refused clearly, or entered and readable."""

from __future__ import annotations

import random
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from test_bundle import full, told  # noqa: F401  the fixture

from surefoot.errors import SurefootError
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.journal.journal import Journal

NAME = "bench"
VALUES = (5, -1, 1.5, 10**18, float("inf"), "", "x", b"\x00", None, "{}", "[]", "null", "7", '{"a": null}', '["b", 2]')


def _fields(bundle: Path) -> list[tuple[str, str]]:
    with closing(sqlite3.connect(bundle)) as at:
        tables = [row[0] for row in at.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return [
            (table, row[1])
            for table in tables
            if not table.startswith("sqlite") and "seal" not in table
            for row in at.execute(f'PRAGMA table_info("{table}")')
        ]


def _changed(bundle: Path, table: str, column: str, value: object) -> bool:
    """Whether the value could be put there, past the triggers, with the seal taken off."""
    with closing(sqlite3.connect(bundle, isolation_level=None)) as at:
        at.execute("PRAGMA foreign_keys = OFF")
        triggers = at.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            at.execute(f'DROP TRIGGER "{name}"')
        try:
            at.execute(f'UPDATE "{table}" SET "{column}" = ?', (value,))
        except sqlite3.Error:
            return False
        for _, sql in triggers:
            at.execute(sql)
        for (seal,) in at.execute("SELECT name FROM sqlite_master WHERE name LIKE '%seal%'").fetchall():
            at.execute(f'DROP TABLE "{seal}"')
    return True


@pytest.mark.parametrize("share", [pytest.param(1.0, marks=pytest.mark.long), 0.02])
def test_any_value_in_any_field(full: Journal, tmp_path: Path, share: float) -> None:  # noqa: F811
    save_bundle(full, full.units()[0].name, tmp_path / "b")
    of, played, entered, faults = random.Random(4), 0, 0, []
    for table, column in _fields(tmp_path / "b"):
        for value in VALUES:
            if of.random() >= share:
                continue
            made = tmp_path / "made"
            shutil.copyfile(tmp_path / "b", made)
            if not _changed(made, table, column, value):
                continue
            played += 1
            home = tmp_path / "second"
            with Journal.open(home / "journal.sqlite") as second:
                try:
                    unit = load_bundle(second, made).unit_name
                    told(second, unit)
                    entered += 1
                except SurefootError:
                    pass
                except Exception as error:  # noqa: BLE001  what else there is, is what is looked for
                    faults.append(f"{table}.{column} = {value!r}: {type(error).__name__}: {error}")
            shutil.rmtree(home)
    assert not faults, "\n".join(faults)
    assert played > 15 and 0 < entered < played
