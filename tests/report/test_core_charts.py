"""A unit with an offset for each core: the report shows edges and certificates core by core."""

from __future__ import annotations

from pathlib import Path

import pytest
from devtools import Browser
from labels import CROSSED
from test_browser import CONTRAST, NAMES_AND_LANDMARKS, READY

from surefoot.journal import Journal
from surefoot.report.chapters import cores
from surefoot.report.html import render
from surefoot.report.material import Material, collect
from surefoot.report.picture import PAGE, STILL
from surefoot.report.sections import build
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Unit

KNOBS = (
    Knob("core-10", "cpu", "mV", "down", 5, 120, cores=(10,)),
    Knob("core-0", "cpu", "mV", "down", 5, 120, cores=(0,)),
    Knob("pair", "cpu", "mV", "down", 5, 120, cores=(4, 5)),
    Knob("uncore", "cpu", "mV", "down", 5, 120),
)
FAILS = {"core-10": 45, "core-0": 95, "pair": 70, "uncore": 80}


def material_of(place: Path, knobs: tuple[Knob, ...], tried: tuple[str, ...]) -> Material:
    unit = Unit(name="bench-c", knobs=knobs)
    with Journal.open(place) as journal:
        journal.add_unit(unit)
        for knob in knobs:
            if knob.name not in tried:
                continue
            for depth in (0, *range(20, FAILS[knob.name] + 10, 10)):
                failed = depth >= FAILS[knob.name]
                plan = RunPlan(
                    unit_name=unit.name, setting=unit.setting_at({knob.name: depth}), load="cpu", planned_minutes=60,
                    knob=knob.name, source="hand",
                )  # fmt: skip
                outcome = Outcome.RESET if failed else Outcome.HELD
                minutes = 3 if failed else 60
                journal.log_run(plan, Closing(outcome=outcome, minutes=minutes, judged_by="test"))
        return collect(journal, unit)


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory) -> Material:
    return material_of(tmp_path_factory.mktemp("cores"), KNOBS, tuple(FAILS))


def test_each_core_has_its_row_in_order_with_its_edge_and_what_is_certified(material: Material) -> None:
    (picture,) = cores.pictures(material)
    table = picture.data
    assert table is not None and list(table["cores"]) == ["core 0", "cores 4 and 5", "core 10"]
    # The true order of the edges, each between the deepest that held and the failure that followed, or near it.
    edges = dict(zip(table["knob"], table["edge"], strict=True))
    assert edges["core-10"] > edges["pair"] > edges["core-0"]
    for name, edge in edges.items():
        assert -FAILS[name] - 20 < edge < -FAILS[name] + 25
    assert ((table["low"] >= table["edge"]) & (table["edge"] >= table["high"])).all()
    assert material.known is not None
    for name, certified in zip(table["knob"], table["certified"], strict=True):
        assert certified == -material.known.certificates[name].depth
    assert picture.title.startswith("The weakest is core 10, edge near −") and "the strongest core 0" in picture.title
    assert list(table["failures"]) == [1, 1, 1]


def test_the_chart_is_drawn_for_the_page_and_stands_alone_with_its_words(material: Material) -> None:
    (picture,) = cores.pictures(material)
    for canvas in (PAGE, STILL):
        drawn = picture.spec(canvas)
        assert drawn["layer"] and next(iter(drawn["datasets"].values()))[0]["cores"] == "core 0"
    page = render(build(material))
    assert "cores 4 and 5" in page and picture.title in page and "eight tenths of it lie" in page
    # Once: beside the charts of each knob, not in their place.
    assert page.count(f'id="{picture.key}"') <= 1 and "edge-core-10" in page


def test_one_core_alone_or_none_with_evidence_makes_no_chart(tmp_path: Path) -> None:
    assert cores.pictures(material_of(tmp_path / "one", KNOBS, ("core-0", "uncore"))) == ()
    assert cores.pictures(material_of(tmp_path / "none", KNOBS[3:], ("uncore",))) == ()


def test_what_is_not_certified_yet_is_said(tmp_path: Path) -> None:
    unit = Unit(name="bench-d", knobs=KNOBS[:2])
    with Journal.open(tmp_path) as journal:
        journal.add_unit(unit)
        for name, depth, minutes in (("core-10", 20, 1.0), ("core-0", 20, 1.0)):
            plan = RunPlan(unit_name=unit.name, setting=unit.setting_at({name: depth}), load="cpu",
                           planned_minutes=5, knob=name, source="hand")  # fmt: skip
            journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=minutes, judged_by="test"))
        (picture,) = cores.pictures(collect(journal, unit))
    assert "Nothing is certified yet for core 0 and core 10." in picture.note
    assert picture.spec(PAGE)["layer"]


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_in_a_browser_it_can_be_read_by_eye_and_by_key(
    browser: Browser, material: Material, tmp_path: Path, width: int
) -> None:
    place = tmp_path / "report.html"
    place.write_text(render(build(material)), encoding="utf-8")
    page = browser.page(width, 900)
    page.prefer("light")
    page.open(place)
    page.wait_for(READY)
    assert page.evaluate(NAMES_AND_LANDMARKS)[0] == []
    *worst, looked = page.evaluate(CONTRAST)
    assert all(one["ratio"] >= one["least"] for one in worst) and looked["ratio"] > 100, worst
    key = cores.pictures(material)[0].key
    # Only this chart's own: what the others do is held by the demo's page.
    crossed = [one for one in page.evaluate(CROSSED)["found"] if key in str(one)]
    assert crossed == [] and page.evaluate("document.documentElement.scrollWidth") <= width
    labels = f'figure[data-key="{key}"] .plot svg .role-axis text'
    rows = page.evaluate(f"[...document.querySelectorAll('{labels}')].map((t) => t.textContent)")
    assert {"core 0", "cores 4 and 5", "core 10", "stock"} <= set(rows)
    said = page.evaluate(f"""
      (() => {{ const figure = document.querySelector('figure[data-key="{key}"]');
        figure.querySelector('.plot').dispatchEvent(
          new KeyboardEvent('keydown', {{key: 'ArrowRight', bubbles: true, cancelable: true}}));
        return figure.querySelector('.readout').textContent; }})()
    """)
    assert said.startswith("1 of ") and "core" in said
    page.pdf(tmp_path / "report.pdf")
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")
