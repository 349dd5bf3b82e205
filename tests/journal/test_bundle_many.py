"""A folder of bundles: all entered, a spoilt one named, given again nothing added."""

from pathlib import Path

from surefoot.journal import Journal
from surefoot.journal.bundle import save_bundle
from surefoot.journal.bundle_many import load_folder
from surefoot.units import Knob, Unit


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
