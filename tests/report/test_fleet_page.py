"""The page of all units, made from a journal of a handful of units and opened in a headless browser."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from devtools import Browser
from test_browser import CONTRAST, NAMES_AND_LANDMARKS, READY

from surefoot.guide.fleet import fleet
from surefoot.guide.recall import Present
from surefoot.journal import Journal
from surefoot.pool.fleet import Fleet
from surefoot.report.fleet import MOST_NAMED, build, write_fleet_page
from surefoot.runs import Closing, Outcome, Purpose, RunPlan
from surefoot.units import Knob, Setting, Unit

KNOB = Knob("core", "cpu", "mV", "down", step=5.0, limit=200.0, load="gear-check")
RUNS = [(0, 2), (20, 2), (40, 2), (60, 4), (80, -1), (65, 20), (65, 20)]
HOSTILE = "</script><b>third</b>"


def made(home: Path, units: int) -> Fleet:
    """Units that differ by 5 mV each, the last without any run; the first was used for ten hours."""
    at = datetime(2026, 10, 1, 9, tzinfo=UTC)
    with Journal.open(home) as journal:
        for number in range(units):
            name = HOSTILE if number == 2 else f"unit {number}"
            journal.add_unit(Unit(name=name, parts={"platform": "Third Arch 4"}, knobs=(KNOB,)))
            runs: list[tuple[int, int, Purpose]] = []
            if number < units - 1:
                runs = [(depth, minutes, "search") for depth, minutes in RUNS]
            if number == 0:
                runs.append((40, 600, "use"))
            for depth, minutes, purpose in runs:
                at += timedelta(hours=1)
                moved = depth + 5 * (number % 8) if depth else 0
                plan = RunPlan(
                    unit_name=name, setting=Setting(values={"core": -moved}) if moved else Setting(),
                    load="gear-check", planned_minutes=abs(minutes), knob="core", source="hand", purpose=purpose,
                )  # fmt: skip
                outcome = Outcome.HELD if minutes > 0 else Outcome.RESET
                journal.log_run(plan, Closing(outcome=outcome, minutes=abs(minutes), judged_by="hand"), at=at)
        return fleet(journal, Present(at + timedelta(days=1)))


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Fleet:
    return made(tmp_path_factory.mktemp("fleet"), 5)


def test_the_page_tells_what_the_journal_holds(found: Fleet) -> None:
    view = build(found)
    assert [section.key for section in view.sections] == ["answer", "units", "due", "edges", "cost", "cautions"]
    answer = view.sections[0].answer
    assert answer is not None and answer.setting == ("4 of 5 known-stable",)
    table = {row[0].text: [cell.text for cell in row] for row in view.sections[1].tables[0].rows}
    assert table["unit 0"][5] == "10.0" and table["unit 1"][5] == "0.0"
    assert table["unit 4"][2] == "nothing yet"
    due = {row[0].text: row[2].text for row in view.sections[2].tables[0].rows if row[1].text == "due"}
    assert due["nothing is known-stable: tune it"] == "unit 4"


def test_each_unit_is_marked_in_the_picture_of_its_platform(found: Fleet) -> None:
    (picture,) = build(found).sections[3].blocks[0].charts
    edges = picture.table.set_index("unit")["edge (mV)"]
    assert set(edges.index) == {"unit 0", "unit 1", HOSTILE, "unit 3"}
    assert edges["unit 0"] > edges["unit 1"] > edges[HOSTILE] > edges["unit 3"]
    stable = picture.table.set_index("unit")["known-stable (mV)"]
    assert (stable > edges).all()
    likely = picture.table.set_index("unit")
    assert (likely["likely from (mV)"] >= likely["likely to (mV)"]).all()


def test_many_units_are_packed_and_still_all_there(tmp_path: Path) -> None:
    (picture,) = build(made(tmp_path, MOST_NAMED + 4)).sections[3].blocks[0].charts
    assert len(picture.table) == MOST_NAMED + 3
    assert "Each mark is a unit" in picture.note


def test_an_empty_journal_says_what_fills_it(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        view = build(fleet(journal, Present(datetime(2026, 10, 1, tzinfo=UTC))))
    assert view.sections[0].empty is not None and view.pictures() == []


@pytest.mark.browser
def test_the_page_is_drawn_reads_well_and_fits(found: Fleet, browser: Browser, tmp_path: Path) -> None:
    file = write_fleet_page(found, tmp_path / "fleet.html")
    for width in (390, 768, 1280):
        page = browser.page(width, 900)
        page.prefer("light")
        page.open(file)
        page.wait_for(READY)
        assert page.complaints() == [] and page.requests() == [file.resolve().as_uri()]
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate("document.querySelectorAll('figure .plot svg .role-mark path').length") >= 10
        assert page.evaluate("document.querySelectorAll('section b').length") == 0
    for theme in ("light", "dark"):
        page.prefer(theme)
        *worst, looked_at = page.evaluate(CONTRAST)
        assert looked_at["ratio"] > 20
        assert [one for one in worst if one["ratio"] < one["least"]] == []
    wrong, landmarks, named = page.evaluate(NAMES_AND_LANDMARKS)
    assert wrong == [] and landmarks >= 5 and named >= 4
