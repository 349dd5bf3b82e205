"""The page: whole, safe, and honest about what is missing."""

from __future__ import annotations

import base64
import gzip
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import altair as alt
import pytest

from surefoot.errors import BadInput
from surefoot.journal import Journal
from surefoot.report import picture
from surefoot.report.html import data_text, policy, render
from surefoot.report.kept_library import keep, kept
from surefoot.report.library import SNIPPET, Library, made_here
from surefoot.report.look import Looks
from surefoot.report.material import Material, collect
from surefoot.report.page import report_files, write_page, write_report
from surefoot.report.picture import PAGE, VIDEO
from surefoot.report.sections import build
from surefoot.report.stills import still
from surefoot.report.view import PageView
from surefoot.runs import Closing, Outcome, RunPlan, Score
from surefoot.units import Conditions, Knob, Setting, Unit

SECTIONS = (
    "answer", "search", "passes", "edge", "scores", "trial", "heat", "limiters", "thermals", "noise", "compared",
    "conditions", "runs", "cautions",
)  # fmt: skip
HOSTILE = "<script>alert(1)</script>"


class Reader(HTMLParser):
    """What a page consists of, as a browser's parser would see it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def of(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def specs_in(text: str) -> dict[str, dict[str, object]]:
    found = re.search(r'<script type="text/plain" id="packed-specs">(.*?)</script>', text, re.DOTALL)
    assert found
    return dict(json.loads(gzip.decompress(base64.b64decode(found[1]))))


def test_every_section_of_the_demo_is_filled(view: PageView) -> None:
    assert tuple(section.key for section in view.sections) == SECTIONS
    assert [section.key for section in view.sections if section.empty] == []
    for section in view.sections:
        assert section.answer or section.blocks or section.tables or section.list, section.key


def test_the_page_is_one_file_of_reasonable_size(html: str) -> None:
    # Two fifths are the still pictures, a third the packed library that draws the live ones.
    assert len(html.encode()) < 1_250_000
    reader = Reader(html)
    assert len(reader.of("script")) == 3
    assert not any("src" in attrs for attrs in reader.of("script"))
    assert reader.of("link") == [] and reader.of("img") == [] and reader.of("iframe") == []
    for attrs in reader.of("a"):
        assert (attrs["href"] or "").startswith("#")


def test_every_chart_has_its_place_its_words_and_its_table(html: str, view: PageView) -> None:
    reader = Reader(html)
    keys = [picture.key for picture in view.pictures()]
    assert len(keys) == len(set(keys)) >= 20
    assert [attrs["data-key"] for attrs in reader.of("figure")] == keys
    assert set(specs_in(html)) == set(keys)
    plots = [attrs for attrs in reader.of("div") if attrs.get("class") == "plot"]
    assert all(attrs["tabindex"] == "0" and len(attrs["aria-label"] or "") > 20 for attrs in plots)
    assert len(reader.of("details")) == len(keys)
    for one in view.pictures():
        assert len(one.table) > 0 and one.title and "nan" not in one.title.lower()


def test_every_picture_that_stands_alone_says_what_it_rests_on(view: PageView) -> None:
    silent = [one.key for one in view.pictures() if not re.search(r"\d+ (to \d+ )?(run|reading)|One run", one.says)]
    assert [key for key in silent if not key.startswith("pass-fail")] == []


def test_without_javascript_every_chart_is_a_plain_picture(html: str, view: PageView) -> None:
    stills = re.findall(r'<div class="plot"[^>]*><noscript>(<svg .*?</svg>)</noscript></div>', html, re.DOTALL)
    assert len(stills) == len(view.pictures())
    names: list[str] = []
    for drawn in stills:
        root = ET.fromstring(drawn)
        assert root.attrib["aria-hidden"] == "true" and float(root.attrib["width"]) > 500
        assert len(list(root.iter("{http://www.w3.org/2000/svg}path"))) > 3
        own = re.findall(r' id="([^"]+)"', drawn)
        assert set(re.findall(r"url\(#([^)]+-part-\d+)\)", drawn)) <= set(own)
        names += own
    assert len(names) == len(set(names))


def test_colours_are_left_to_the_page(html: str) -> None:
    specs = json.dumps(specs_in(html))
    assert "var(--held)" in specs
    assert not re.search(r"#[0-9a-fA-F]{6}\b", specs)


@pytest.mark.parametrize("canvas", [PAGE, VIDEO], ids=["page", "video"])
def test_every_drawing_satisfies_the_schema(
    view: PageView, canvas: picture.Canvas, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Altair checks against Vega-Lite's own JSON schema; a drawing that breaks it raises."""
    monkeypatch.setattr(picture, "CHECKED", True)
    # One of each kind of chart: the checks take most of the time.
    kinds = {one.draw.func: one for one in view.pictures()}  # type: ignore[attr-defined]
    assert len(kinds) >= 7
    for one in kinds.values():
        made = one.spec(canvas, "a unit")
        assert made["datasets"]
        alt.LayerChart.from_dict(made, validate=True)
        assert ("title" in made) == canvas.standalone


def test_a_unit_with_a_hostile_name_is_harmless(tmp_path: Path) -> None:
    unit = Unit(
        name=HOSTILE,
        parts={HOSTILE: HOSTILE},
        notes="</style><img src=x onerror=alert(2)>",
        knobs=(Knob("</script><b>", "cpu", "mV", "down", 5, 100), Knob("--><i>", "gpu", "MHz", "up", 15, 100)),
    )
    with Journal.open(tmp_path) as journal:
        journal.add_unit(unit)
        for depth in (0.0, 20.0, 40.0):
            journal.log_run(
                RunPlan(
                    unit_name=HOSTILE, setting=Setting(values={"</script><b>": -depth}), load="<u>load</u>",
                    planned_minutes=5, knob="</script><b>",
                ),
                Closing(outcome=Outcome.HELD, minutes=5, judged_by="<script>alert(3)</script>"),
            )  # fmt: skip
        written = write_report(journal, HOSTILE, tmp_path / "page.html")
    text = written.read_text(encoding="utf-8")
    reader = Reader(text)
    assert len(reader.of("script")) == 3
    for tag in ("img", "i", "u"):
        assert reader.of(tag) == []
    # The only <b> is our own, in the masthead.
    assert len(reader.of("b")) == 1
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text
    assert HOSTILE not in text
    assert any("</script>" in json.dumps(spec) for spec in specs_in(text).values())


def test_a_hostile_name_comes_through_every_section(material: Material, monkeypatch: pytest.MonkeyPatch) -> None:
    unit = material.unit.model_copy(update={"name": HOSTILE})
    made = build(replace(material, unit=unit))
    # One of each kind as a plain picture: they take most of the time.
    drawn = {one.draw.func: one.key for one in made.pictures()}  # type: ignore[attr-defined]
    monkeypatch.setattr("surefoot.report.html.still", lambda one: still(one) if one.key in drawn.values() else "")
    text = render(made)
    assert HOSTILE not in text and len(Reader(text).of("script")) == 3


@pytest.mark.parametrize("value", ["</script>", "<!--", "&amp;", "\u2028", {"a": ["]]>"]}])
def test_data_inside_a_script_cannot_end_it(value: object) -> None:
    text = data_text(value)
    assert json.loads(text) == value
    assert not set(text) & set("<>&\u2028\u2029")


def test_the_policy_allows_these_scripts_alone() -> None:
    # SHA-256 of "abc" (FIPS 180-4 examples, from memory), in base 64.
    said = policy(["abc"])
    assert "'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='" in said
    assert "default-src 'none'" in said and "unsafe-eval" not in said
    assert "unsafe-inline" not in said.split("style-src")[0]


def test_a_new_unit_says_which_commands_would_fill_its_report(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        journal.add_unit(Unit(name="bare one"))
        made = report_files(journal, "bare one", tmp_path / "page.html")
    text = made.page.read_text(encoding="utf-8")
    assert {one.title for one in made.empty} >= {"The path of the search", "What was gained", "Thermals over time"}
    assert all(one.command.startswith("surefoot ") for one in made.empty)
    for key in SECTIONS:
        assert f'id="{key}"' in text
    assert text.count("would fill this.") == len(made.empty) >= 10
    assert made.charts == ()


def test_a_search_without_measurements_is_shown(tmp_path: Path) -> None:
    unit = Unit(name="one knob", knobs=(Knob("core", "cpu", "mV", "down", 5, 100),))
    with Journal.open(tmp_path) as journal:
        journal.add_unit(unit)
        for depth, outcome in ((0, Outcome.HELD), (20, Outcome.HELD), (40, Outcome.RESET), (30, Outcome.OVERHEAT)):
            journal.log_run(
                RunPlan(
                    unit_name="one knob",
                    setting=Setting(values={"core": -depth}),
                    load="l",
                    planned_minutes=5,
                    knob="core",
                ),
                Closing(outcome=outcome, minutes=5 if outcome is Outcome.HELD else 1, judged_by="eye"),
            )
        material = collect(journal, "one knob")
    view = build(material)
    keys = [one.key for one in view.pictures()]
    assert keys == ["search-path-core", "edge-core", "hours-between-failures-core"]
    passes = next(section for section in view.sections if section.key == "passes")
    assert passes.empty and "unit edit" in passes.empty.command
    assert "fetches nothing" in render(view)


def test_the_answer_says_the_certificate(view: PageView, material: Material) -> None:
    answer = view.sections[0].answer
    assert answer is not None and material.known is not None
    assert " ".join(answer.setting) == "cpu-core −{:g} mV gpu-core +{:g} MHz".format(
        -material.known.setting.value("cpu-core"), material.known.setting.value("gpu-core")
    )
    assert "90% confidence" in answer.words[0] and "on average at least" in answer.words[0]
    assert "bear out" in answer.words[0] and "the model adds the rest" in answer.words[0]
    assert answer.table is not None and len(answer.table.rows) == 2
    alone, since = answer.gains
    assert alone.title == "What the setting brought by itself" and "nothing else differs" in alone.says
    assert "“dust out, tuned” against “dust out”" in alone.says
    # The trial's own baseline is "dust out"; what the owner paid for began before that.
    assert "“dust out, tuned” against “as it came in”" in since.says and "cooling dust blown out" in since.says


def test_the_gain_is_the_settings_own_in_whatever_order_the_configurations_stand(material: Material) -> None:
    assert material.comparison is not None
    said = build(material).sections[0].answer
    for turn in range(1, 5):
        order = material.comparison.configurations
        turned = replace(material.comparison, configurations=order[turn:] + order[:turn])
        assert build(replace(material, comparison=turned)).sections[0].answer == said


def test_a_known_stable_setting_that_was_not_measured_shows_no_gain(material: Material) -> None:
    answer = build(replace(material, own=())).sections[0].answer
    assert answer is not None and [group.figures for group in answer.gains] == [()]
    assert "--known-stable" in answer.gains[0].says


def test_the_baseline_can_be_chosen(tmp_path: Path) -> None:
    with Journal.open(tmp_path) as journal:
        journal.add_unit(Unit(name="u"))
        for mode, points in (("loud", 100), ("evening", 90)):
            for repeat in range(3):
                plan = RunPlan(
                    unit_name="u", setting=Setting(), load="l", planned_minutes=5, purpose="measure",
                    conditions=Conditions(power_mode=mode),
                )  # fmt: skip
                run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="eye"))
                journal.add_score("u", Score(name="points", value=points + repeat / 10), run_id=run)
        first, second = (collect(journal, "u", baseline=name).comparison for name in (None, "2"))
        assert first is not None and second is not None and first.baseline != second.baseline
        assert "+11" in render(build(collect(journal, "u", baseline="2")))
        with pytest.raises(BadInput, match="configuration"):
            collect(journal, "u", baseline="no such mode")


def test_configurations_without_a_name_are_called_by_what_differs(tmp_path: Path) -> None:
    knobs = (Knob("core", "cpu", "mV", "down", 5, 100), Knob("cache", "cpu", "mV", "down", 5, 100, linked_to="core"))
    unit = Unit(name="u", knobs=knobs)
    settings = (
        ("loud", "as it came", Setting()),
        ("evening", "as it came", Setting()),
        ("loud", "as it came", Setting(values={"core": -40, "cache": -40})),
        ("loud", "lid off", Setting(values={"core": -40, "cache": -20})),
    )
    with Journal.open(tmp_path) as journal:
        journal.add_unit(unit)
        for mode, cooling, setting in settings:
            known = Conditions(power_mode=mode, cooling=cooling)
            plan = RunPlan(
                unit_name="u", setting=setting, load="l", planned_minutes=5, purpose="measure", conditions=known
            )
            run = journal.log_run(plan, Closing(outcome=Outcome.HELD, minutes=5, judged_by="eye"))
            journal.add_score("u", Score(name="points", value=100), run_id=run)
        material = collect(journal, "u")
        names = list(Looks.of(material.comparison, unit).names.values())
        assert [name.replace("\u00a0", " ") for name in names] == [
            "loud mode, stock",
            "evening mode",
            "core −40 mV",
            "lid off, cache −20 mV, core −40 mV",
        ]
        assert material.comparison is not None
        journal.name_configuration("u", material.comparison.configurations[1].key, "at night", 1)
        assert "at night" in Looks.of(collect(journal, "u").comparison, unit).by_name


def test_the_library_is_kept_for_the_next_page_and_believed_only_as_it_was_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    with Library() as library:
        made = library.text()
    (place,) = (tmp_path / "surefoot").glob("charts-*.js")
    monkeypatch.setattr("subprocess.Popen", lambda *_, **__: pytest.fail("made anew"))
    with Library() as library:
        assert library.text() == made
    monkeypatch.undo()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    written = place.read_bytes()
    for spoiled in (written[:-9], written + b"alert(1)", b"", b"\xff" + written, written.split(b"\n", 1)[1]):
        place.write_bytes(spoiled)
        assert kept(SNIPPET) is None
    place.write_bytes(written)
    assert kept(SNIPPET) == made and kept(SNIPPET + " ") is None
    # What others could have written is not run, whatever it says.
    place.chmod(0o666)
    assert kept(SNIPPET) is None
    place.chmod(0o644)
    place.parent.chmod(0o777)
    assert kept(SNIPPET) is None
    place.parent.chmod(0o700)
    # A version that is no longer used is not left behind.
    (place.parent / "charts-0.0-00000000.js").write_text("old")
    keep(SNIPPET, made)
    assert [one.name for one in place.parent.iterdir()] == [place.name]
    monkeypatch.setenv("XDG_CACHE_HOME", str(place))
    keep(SNIPPET, made)
    assert kept(SNIPPET) is None


def test_the_library_is_made_here_where_no_process_can_be_started(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "first"))
    with Library() as library:
        beside = library.text()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "second"))
    monkeypatch.setattr("sys.executable", "/no/such/interpreter")
    with Library() as library:
        assert library.text() == beside == made_here()


def test_a_page_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    written = write_page("<p>é</p>", tmp_path / "deep" / "page.html")
    assert written.read_bytes() == "<p>é</p>".encode()
    assert [file.name for file in written.parent.iterdir()] == ["page.html"]
    with pytest.raises(BadInput, match="is a folder"):
        write_page("x", tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInput, match="cannot be written"):
        write_page("x", tmp_path / "file" / "page.html")


def test_the_same_journal_gives_the_same_page(material: Material, html: str) -> None:
    made = build(material)
    assert specs_in(html) == json.loads(data_text({one.key: one.spec(PAGE) for one in made.pictures()}))
    for one in {one.draw.func: one for one in made.pictures()}.values():  # type: ignore[attr-defined]
        assert still(one) in html, one.key
    quick = replace(made, sections=made.sections[:1])
    assert render(quick) == render(replace(build(material), sections=made.sections[:1]))


def test_a_chart_of_two_knobs_leaves_out_runs_that_moved_a_third(material: Material) -> None:
    from surefoot.report.chapters.search import _pass_frame

    unit = material.unit.model_copy(
        update={"knobs": (*material.unit.knobs, Knob("memory-clock", "memory", "MHz", "up", 10, 200))}
    )
    deep = material.runs[-1]
    moved = deep.setting.with_values({"memory-clock": 50.0})
    assert deep.closing is not None
    third = deep.model_copy(update={"id": 900, "closing": deep.closing.model_copy(update={"setting": moved})})
    core, clock, _ = unit.leaders()
    made = _pass_frame(replace(material, unit=unit, runs=(deep, third)), core, clock)
    assert list(made["runs"]) == [1]
    # A knob that follows one of the two is no third.
    assert "cpu-cache" in deep.setting.values


def test_the_search_counts_wrong_results_among_its_failures(material: Material) -> None:
    crashed = next(run for run in material.runs if run.outcome is Outcome.RESET)
    assert crashed.closing is not None
    soft = crashed.model_copy(
        update={"id": 901, "closing": crashed.closing.model_copy(update={"outcome": Outcome.MISCOMPUTE})}
    )
    before, after = (
        next(one.lead for one in build(made).sections if one.key == "search")
        for made in (material, replace(material, runs=(*material.runs, soft)))
    )
    told = [tuple(int(number) for number in re.findall(r"(\d+) (?:runs|failures)", lead)) for lead in (before, after)]
    assert told[1] == (told[0][0] + 1, told[0][1] + 1)
