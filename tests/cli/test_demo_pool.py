"""Parts of `surefoot demo --pool`: more units of the kind, their pool, and what it lends without a unit's own runs."""

import re
from datetime import UTC, datetime
from pathlib import Path

from surefoot.guide.demo_pool import play_siblings, show_pool
from surefoot.journal import Journal
from surefoot.rehearsal.demo_card import demo_unit

AT = datetime(2026, 11, 2, 9, tzinfo=UTC)


def test_siblings_are_other_chips_and_lend_the_first_what_they_know(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        unit = demo_unit("first")
        journal.add_unit(unit)
        made = play_siblings(journal, unit, 15, AT, units=3)
        assert [one.name for one in made] == ["first-like-1", "first-like-2", "first-like-3"]
        assert all(run.plan.source == "virtual" for one in made for run in journal.runs(one.name))
        found = show_pool(journal, made[0], tmp_path / "small.parquet", AT)
        assert found.built.units == 3
        assert all("2 units" in text for text in found.lends) and len(found.lends) == 2
        assert re.search(r"about \d+ mV deep", found.lends[0]) and re.search(r"about \d+ MHz deep", found.lends[1])
        assert "Lent by the pool small.parquet" in found.claim.words
        edges = {one.unit: one.edges[0].depth for one in found.fleet.units if one.edges}
        assert len(set(edges.values())) == 3
        # Given again, the names go on.
        assert play_siblings(journal, unit, 15, AT, units=1)[0].name == "first-like-4"
