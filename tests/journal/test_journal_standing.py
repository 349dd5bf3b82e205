"""What may stand applied, which machine it is, what was allowed: kept, and carried by a bundle."""

from __future__ import annotations

from pathlib import Path

import pytest

from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.journal.bundle import load_bundle, save_bundle
from surefoot.units import Setting, Unit

NAME = "shoebox-3"


@pytest.fixture
def journal(tmp_path: Path) -> Journal:
    opened = Journal.open(tmp_path / "journal.sqlite")
    opened.add_unit(Unit(name=NAME))
    return opened


def test_the_last_standing_counts(journal: Journal) -> None:
    assert journal.standing(NAME) is None
    journal.stand(NAME, Setting(values={"cpu-core": -60}), why="run 1", boot_id="b")
    standing = journal.standing(NAME)
    assert standing is not None and (standing.setting.value("cpu-core"), standing.why) == (-60, "run 1")
    assert standing.boot_id == "b"
    journal.stand(NAME, Setting(), why="back at stock")
    standing = journal.standing(NAME)
    assert standing is not None and standing.setting.is_stock and standing.boot_id is None
    with pytest.raises(BadInput, match="nobody"):
        journal.stand("nobody", Setting(), why="x")


def test_machines_and_exceptions_are_kept_and_carried(journal: Journal, tmp_path: Path) -> None:
    for identity in ("one", "two", "one"):
        journal.know_machine(NAME, identity)
    journal.note_exception(NAME, Setting(values={"cpu-core": -90}), "too far")
    journal.stand(NAME, Setting(values={"cpu-core": -90}), why="recalled")
    save_bundle(journal, NAME, tmp_path / "bundle")
    with Journal.open(tmp_path / "other.sqlite") as other:
        load_bundle(other, tmp_path / "bundle", name="again")
        assert other.known_machines("again") == ("one", "two")
        (entry,) = other.exceptions("again")
        assert (entry.setting.value("cpu-core"), entry.rule) == (-90, "too far")
        standing = other.standing("again")
        assert standing is not None and standing.why == "recalled"
