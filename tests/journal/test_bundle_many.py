"""A folder of bundles: all entered, a spoilt one named, given again nothing added."""

from pathlib import Path

import pytest

from surefoot.journal import Journal
from surefoot.journal.bundle import save_bundle
from surefoot.journal.bundle_many import load_folder
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit


def test_a_folder_of_bundles_is_entered_once_and_a_spoilt_one_is_named(tmp_path: Path) -> None:
    folder = tmp_path / "bundles"
    folder.mkdir()
    with Journal.open(tmp_path / "from.sqlite") as journal:
        for name in ("a", "b", "c"):
            journal.add_unit(Unit(name=name, knobs=(Knob("core", "cpu", "mV", "down", 5, 100),)))
            save_bundle(journal, name, folder / f"{name}.bundle")
    spoilt = (folder / "b.bundle").read_bytes()
    (folder / "b.bundle").write_bytes(spoilt[: len(spoilt) // 2])
    (folder / "notes.txt").write_text("not a bundle")
    seen: list[tuple[int, int]] = []
    with Journal.open(tmp_path / "to.sqlite") as journal:
        found = load_folder(journal, folder, told=lambda done, of: seen.append((done, of)))
        assert [one.unit_name for one in found.bundles] == ["a", "c"]
        assert [path.name for path, _ in found.refused] == ["b.bundle"]
        (folder / "b.bundle").write_bytes(spoilt)
        again = load_folder(journal, folder)
        assert [one.merged for one in again.bundles] == [True, False, True]
        assert sorted(unit.name for unit in journal.units()) == ["a", "b", "c"]
    assert seen == [(1, 3), (2, 3), (3, 3)]


def test_thirty_bundles_broken_off_go_on_and_say_what_two_sides_say_differently(tmp_path: Path) -> None:
    folder = tmp_path / "bundles"
    folder.mkdir()
    knob = Knob("core", "cpu", "mV", "down", 5, 100)
    with Journal.open(tmp_path / "from.sqlite") as journal:
        for number in range(30):
            unit = Unit(name=f"unit {number:02}", knobs=(knob,))
            journal.add_unit(unit)
            plan = RunPlan(unit_name=unit.name, setting=Setting(), load="sums", planned_minutes=5, source="hand")
            journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="hand"))
            save_bundle(journal, unit.name, folder / f"{number:02}.bundle")
        run = journal.runs("unit 03")[0].id
        journal.void_run(run, who="there", why="wrong unit")
        save_bundle(journal, "unit 03", folder / "03.bundle", overwrite=True)

    def stop(done: int, _: int) -> None:
        if done == 12:
            raise KeyboardInterrupt

    with Journal.open(tmp_path / "to.sqlite") as journal:
        with pytest.raises(KeyboardInterrupt):
            load_folder(journal, folder, told=stop)
        assert len(journal.units()) == 12
        mine = journal.runs("unit 03")[0].id
        journal.amend_run(mine, {"minutes": 4.0}, who="here", why="a slip")
        found = load_folder(journal, folder)
        assert [one.merged for one in found.bundles] == [True] * 12 + [False] * 18
        assert sum(one.added for one in found.bundles) == 18
        assert len(journal.units()) == 30 and all(len(journal.runs(one.name)) == 1 for one in journal.units())
        # Entered once more: both corrections stay, nothing is doubled.
        assert not any(one.conflicts for one in load_folder(journal, folder).bundles)
    with Journal.open(tmp_path / "from.sqlite") as journal:
        journal.amend_run(run, {"minutes": 3.0}, who="there", why="another slip")
        save_bundle(journal, "unit 03", folder / "03.bundle", overwrite=True)
    with Journal.open(tmp_path / "to.sqlite") as journal:
        told = [text for one in load_folder(journal, folder).bundles for text in one.conflicts]
        assert len(told) == 1 and "corrected on both sides" in told[0]
