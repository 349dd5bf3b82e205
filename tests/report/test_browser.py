"""The report opened from disk in a headless browser with the network off.

Contrast limits: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3 and 1.4.11 (from memory).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser, Page
from labels import CROSSED

from surefoot.journal import Journal
from surefoot.report.page import write_report
from surefoot.report.view import PageView
from surefoot.report.words import tidy
from surefoot.runs import Closing, Outcome, RunPlan
from surefoot.units import Knob, Setting, Unit

pytestmark = pytest.mark.browser

READY = "document.documentElement.dataset.ready === 'yes'"

# The contrast of every text and mark against what is really behind it, least first.
CONTRAST = """
(() => {
  const parse = (text) => { const n = (text.match(/[0-9.]+/g) || []).map(Number);
    return n.length >= 3 ? [n[0], n[1], n[2], n.length > 3 ? n[3] : 1] : null; };
  const light = (c) => { const [r, g, b] = c.slice(0, 3).map((v) => v / 255)
    .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const contrast = (a, b) => {
    const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
  const ground = (node) => { for (let at = node; at; at = at.parentElement) {
      const c = parse(getComputedStyle(at).backgroundColor);
      if (c && c[3] > 0.99) return c; }
    return [255, 255, 255, 1]; };
  const found = [];
  document.querySelectorAll('body *').forEach((node) => {
    if (node.closest('svg') || node.closest('script, style, noscript, .away, .skip, [hidden]')) return;
    if (![...node.childNodes].some((one) => one.nodeType === 3 && one.data.trim())) return;
    if (!node.getClientRects().length) return;
    found.push({what: node.tagName + ' ' + node.textContent.trim().slice(0, 40),
      ratio: contrast(parse(getComputedStyle(node).color), ground(node)), least: 4.5});
  });
  document.querySelectorAll('.plot svg text').forEach((node) => {
    const c = parse(getComputedStyle(node).fill);
    if (!c || !node.textContent.trim() || node.closest('[opacity="0"]')) return;
    const style = getComputedStyle(node);
    if (style.stroke !== 'none' || node.getAttribute('opacity') === '0') return;
    found.push({what: 'chart text ' + node.textContent, ratio: contrast(c, ground(node)), least: 4.5});
  });
  document.querySelectorAll('.plot .mark-symbol path').forEach((node) => {
    const c = parse(getComputedStyle(node).fill);
    if (!c || c[3] < 0.9 || node.getAttribute('opacity') === '0') return;
    found.push({what: 'mark in ' + node.closest('figure').id, ratio: contrast(c, ground(node)), least: 3});
  });
  return found.sort((a, b) => a.ratio / a.least - b.ratio / b.least).slice(0, 5)
    .concat([{what: 'looked at', ratio: found.length, least: 0}]);
})()
"""


@pytest.fixture(scope="module")
def page(browser: Browser, page_file: Path) -> Iterator[Page]:
    """The demo's report, opened from disk and drawn."""
    opened = browser.page(1280, 900)
    opened.prefer("light")
    opened.open(page_file)
    opened.wait_for(READY)
    yield opened


def test_no_error_and_no_request_but_the_file_itself(page: Page, page_file: Path) -> None:
    page.browser.drain(0.3)
    assert page.complaints() == []
    assert page.requests() == [page_file.resolve().as_uri()]


def test_every_section_is_there_and_seen(page: Page, view: PageView) -> None:
    seen = page.evaluate(
        "[...document.querySelectorAll('section')]"
        ".map((s) => [s.id, s.querySelector('h2').textContent, s.offsetHeight])"
    )
    assert [row[0] for row in seen] == [section.key for section in view.sections]
    assert all(row[1].strip() and row[2] > 60 for row in seen)


def test_each_chart_is_drawn_with_marks_inside_its_frame(page: Page, view: PageView) -> None:
    drawn = page.evaluate("""
      [...document.querySelectorAll('figure[data-key]')].map((figure) => {
        const svg = figure.querySelector('.plot svg');
        const frame = svg.getBoundingClientRect();
        const marks = [...svg.querySelectorAll('.role-mark path, .role-mark rect, .role-mark line')].filter((one) => {
          const box = one.getBoundingClientRect(), style = getComputedStyle(one);
          const painted = (style.fill !== 'none' && one.getAttribute('opacity') !== '0') || style.stroke !== 'none';
          return painted && box.width + box.height > 2 && box.right > frame.left && box.left < frame.right
            && box.bottom > frame.top && box.top < frame.bottom;
        });
        const inks = new Set(marks.flatMap((one) => [getComputedStyle(one).fill, getComputedStyle(one).stroke]));
        return {key: figure.dataset.key, width: frame.width, height: frame.height, marks: marks.length, inks: inks.size,
          texts: svg.querySelectorAll('text').length, label: svg.parentElement.getAttribute('aria-label') || ''};
      })
    """)
    assert [one["key"] for one in drawn] == [picture.key for picture in view.pictures()]
    for one in drawn:
        assert one["width"] > 300 and one["height"] > 120, one
        assert one["marks"] >= 3 and one["inks"] >= 2 and one["texts"] >= 4, one
        assert len(one["label"]) > 20, one


def test_a_tooltip_appears_on_hover(page: Page) -> None:
    place = page.evaluate("""
      (() => { const figure = document.querySelector('figure[data-key^="search-path"]');
        figure.scrollIntoView({block: 'center', behavior: 'instant'});
        const box = figure.querySelector('.mark-symbol path').getBoundingClientRect();
        return [box.x + box.width / 2, box.y + box.height / 2]; })()
    """)
    page.move_mouse(*place)
    page.wait_for("document.querySelector('#vg-tooltip-element.visible') !== null", 10)
    text = page.evaluate("document.querySelector('#vg-tooltip-element').textContent")
    assert "outcome" in text and "minutes under load" in text
    page.move_mouse(2, 2)
    page.wait_for("document.querySelector('#vg-tooltip-element.visible') === null", 10)


def test_the_legend_hides_and_shows_by_mouse_and_by_key(page: Page) -> None:
    count = "document.querySelectorAll('figure[data-key=\"search-path-cpu-core\"] .mark-symbol path').length"
    button = 'document.querySelector(\'figure[data-key="search-path-cpu-core"] .legend button[data-value="held"]\')'
    before = page.evaluate(count)
    page.evaluate(f"{button}.click()")
    page.wait_for(f"{count} < {before}")
    assert page.evaluate(f"{button}.getAttribute('aria-pressed')") == "false"
    page.evaluate(f"{button}.focus()")
    page.press(" ")
    page.wait_for(f"{count} === {before}")


def test_a_group_zooms_together_and_back(page: Page) -> None:
    axis = (
        "[...document.querySelectorAll('#thermals figure')].map((f) => "
        "[...f.querySelectorAll('.role-axis-label text')].map((t) => t.textContent).sort().join())"
    )
    before = page.evaluate(axis)
    page.evaluate("document.querySelector('#thermals [data-zoom=in]').click()")
    page.wait_for(f"{axis}.every((now, i) => now !== {before!r}[i])")
    page.evaluate("document.querySelector('#thermals [data-zoom=all]').click()")
    page.wait_for(f"JSON.stringify({axis}) === JSON.stringify({before!r})")


def test_the_arrow_keys_read_out_the_marks(page: Page) -> None:
    page.evaluate("document.querySelector('#plot-search-path-cpu-core').focus()")
    readout = "document.querySelector('#figure-search-path-cpu-core .readout').textContent"
    page.press("ArrowRight")
    first = page.evaluate(readout)
    page.press("ArrowRight")
    second = page.evaluate(readout)
    assert first.startswith("1 of ") and second.startswith("2 of ") and "outcome" in second
    page.press("Escape")
    assert page.evaluate(readout) == ""


SAVED = """
  (async () => {
    const kept = [], made = URL.createObjectURL, click = HTMLAnchorElement.prototype.click;
    URL.createObjectURL = (blob) => { kept.push(blob); return 'blob:none'; };
    HTMLAnchorElement.prototype.click = function () { kept.push(this.download); };
    const figure = document.querySelector('figure[data-key="KEY"]');
    figure.querySelector('[data-save=svg]').click();
    figure.querySelector('[data-save=csv]').click();
    URL.createObjectURL = made; HTMLAnchorElement.prototype.click = click;
    return [await kept[0].text(), kept[1], await kept[2].text(), kept[3]];
  })()
"""


def test_a_picture_and_its_numbers_can_be_saved(page: Page) -> None:
    saved = page.evaluate(SAVED.replace("KEY", "limiters-cpu"))
    assert saved[1::2] == ["limiters-cpu.svg", "limiters-cpu.csv"]
    root = ET.fromstring(saved[0])
    assert root.tag.endswith("svg") and "var(--" not in saved[0] and 'id="fill-thermal"' in saved[0]
    lines = saved[2].splitlines()
    assert lines[0].startswith("configuration,") and len(lines) == 6


@pytest.mark.parametrize("key", ["measure-gear-sums", "search-path-cpu-core", "over-time-cpu-temperature"])
def test_a_saved_picture_stands_alone(page: Page, view: PageView, key: str) -> None:
    saved = page.evaluate(SAVED.replace("KEY", key))[0]
    picture = next(one for one in view.pictures() if one.key == key)
    root = ET.fromstring(saved)
    texts = " ".join("".join(text.itertext()) for text in root.iter("{http://www.w3.org/2000/svg}text"))
    assert tidy(picture.title).replace("\u00a0", " ") in texts.replace("\u00a0", " ")
    assert view.stamp in texts and "virtual" in view.stamp
    block = next(one for section in view.sections for one in section.blocks if picture in one.charts)
    for item in picture.legend or block.legend:
        assert item.label in texts
    for words in picture.says.split(". "):
        assert words.split(";")[0] in texts
    if key.startswith("measure"):
        # "dust out" was measured five times before the search and five times in the trial, the others five times.
        assert "means of 5 to 10 runs" in texts and "*" in texts and "points" in texts
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    for text in root.findall("{http://www.w3.org/2000/svg}text"):
        assert 0 <= float(text.attrib["x"]) < width and 0 < float(text.attrib["y"]) < height


def test_the_first_screen_shows_setting_claim_and_gain(page: Page) -> None:
    page.resize(1280, 800)
    page.evaluate("window.scrollTo(0, 0)")
    for what in (".verdict .setting", ".verdict .claim", ".verdict .gained dl"):
        bottom = page.evaluate(f"document.querySelector('{what}').getBoundingClientRect().bottom")
        assert 0 < bottom <= 800, (what, bottom)
    page.resize(1280, 900)


# After the rules of axe-core (names read from its documentation): label-content-name-mismatch, landmark-unique,
# landmark-one-main, region, duplicate-id, scrollable-region-focusable.
NAMES_AND_LANDMARKS = """
(() => {
  const wrong = [];
  const squeezed = (text) => text.replace(/\\s+/g, ' ').trim().toLowerCase();
  const seen = (node) => node.getClientRects().length && getComputedStyle(node).visibility !== 'hidden';
  document.querySelectorAll('button[aria-label], a[aria-label], summary[aria-label]').forEach((node) => {
    const text = squeezed(node.textContent), name = squeezed(node.getAttribute('aria-label'));
    if (text && !name.includes(text)) wrong.push(`the name ${name} lacks the text ${text}`);
  });
  const nameOf = (node) => squeezed(node.getAttribute('aria-label')
    || (document.getElementById(node.getAttribute('aria-labelledby')) || {textContent: ''}).textContent);
  const roles = {MAIN: 'main', NAV: 'navigation', HEADER: 'banner', FOOTER: 'contentinfo', SECTION: 'region'};
  const landmarks = [...document.querySelectorAll('main, nav, header, footer, section, [role=region]')];
  const known = new Set();
  landmarks.forEach((node) => {
    const key = `${node.getAttribute('role') || roles[node.tagName]} ${nameOf(node)}`;
    if (known.has(key)) wrong.push(`two landmarks are ${key}`);
    known.add(key);
    if (key === 'region ') wrong.push('a region has no name');
  });
  if (document.querySelectorAll('main').length !== 1) wrong.push('not one main');
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || node.closest('script, style, noscript, .skip, [aria-hidden=true]')) continue;
    if (seen(node) && !node.closest('main, nav, header, footer')) wrong.push(`outside landmarks: ${node.textContent}`);
  }
  const ids = [...document.querySelectorAll('[id]')].map((node) => node.id);
  ids.filter((id, place) => ids.indexOf(id) !== place).forEach((id) => wrong.push(`the id ${id} is there twice`));
  document.querySelectorAll('.scroll').forEach((node) => {
    if (node.tabIndex !== 0 || !node.getAttribute('aria-label')) wrong.push('a box that scrolls cannot be reached');
  });
  return [wrong, landmarks.length, document.querySelectorAll('button[aria-label]').length];
})()
"""


def test_names_hold_their_text_and_everything_is_in_a_landmark_of_its_own(page: Page) -> None:
    wrong, landmarks, named = page.evaluate(NAMES_AND_LANDMARKS)
    assert wrong == []
    assert landmarks > 10 and named > 30


def test_the_arrow_keys_read_every_chart(page: Page, view: PageView) -> None:
    said = page.evaluate("""
      [...document.querySelectorAll('figure[data-key]')].map((figure) => {
        const plot = figure.querySelector('.plot'), readout = figure.querySelector('.readout');
        const press = (key) => plot.dispatchEvent(new KeyboardEvent('keydown', {key, bubbles: true, cancelable: true}));
        press('ArrowRight'); const first = readout.textContent; press('ArrowRight'); const second = readout.textContent;
        press('Escape');
        return [figure.dataset.key, first, second, readout.textContent];
      })
    """)
    assert len(said) == len(view.pictures())
    for key, first, second, after in said:
        assert first.startswith("1 of ") and len(first) > 12, (key, first)
        assert second.startswith("2 of ") and second != first and after == "", (key, second)


def test_charts_are_drawn_anew_for_paper_and_come_back(page: Page) -> None:
    letters = """(() => { const svg = document.querySelector('figure[data-key="search-path-cpu-core"] .plot svg');
      return [svg.width.baseVal.value, svg.getBoundingClientRect().width,
        svg.querySelector('.role-axis-title text').getBoundingClientRect().height]; })()"""
    page.wait_for(f"({letters})[0] > 900", 10)
    before = page.evaluate(letters)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    drawn, shown, height = page.evaluate(letters)
    assert drawn <= 700 and drawn == pytest.approx(shown, abs=1) and height == pytest.approx(before[2], abs=0.6)
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    page.wait_for(f"Math.abs(({letters})[0] - {before[0]}) < 2", 10)


def test_light_and_dark_can_be_read(page: Page) -> None:
    grounds = []
    for wanted in ("light", "dark"):
        if page.evaluate("getComputedStyle(document.documentElement).colorScheme") != wanted:
            page.evaluate("document.getElementById('theme').click()")
        assert page.evaluate("getComputedStyle(document.documentElement).colorScheme") == wanted
        *worst, looked = page.evaluate(CONTRAST)
        assert looked["ratio"] > 800
        assert worst[0]["ratio"] >= worst[0]["least"], (wanted, worst)
        grounds.append(page.evaluate("getComputedStyle(document.body).backgroundColor"))
    page.evaluate("document.getElementById('theme').click()")
    assert grounds[0] != grounds[1]


def test_the_reader_s_own_preference_is_followed(browser: Browser, page_file: Path) -> None:
    dark = browser.page(1280, 900)
    dark.prefer("dark")
    dark.open(page_file)
    assert dark.evaluate("getComputedStyle(document.documentElement).colorScheme") == "dark"
    assert dark.evaluate("document.getElementById('theme').textContent") == "Light page"


@pytest.mark.parametrize("width", [390, 768, 1280])
def test_nothing_runs_out_of_the_page(browser: Browser, page_file: Path, width: int) -> None:
    narrow = browser.page(width, 844)
    narrow.open(page_file)
    narrow.wait_for(READY)
    assert narrow.evaluate("document.documentElement.scrollWidth") <= width
    outside = narrow.evaluate("""
      [...document.querySelectorAll('figure, .plot svg, .legend, .panel, .verdict, h1, h2, h3, p')]
        .filter((one) => one.getClientRects().length && !one.closest('[hidden], .skip'))
        .filter((one) => { const box = one.getBoundingClientRect();
          return box.width > 0 && (box.right > innerWidth + 0.5 || box.left < -0.5); })
        .map((one) => one.tagName + ' ' + one.id + ' ' + one.textContent.slice(0, 40))
    """)
    assert outside == []
    # No letters of a chart's axis are cut off at its edge.
    cut = narrow.evaluate("""
      [...document.querySelectorAll('.plot svg .role-axis text')].filter((text) => {
        const box = text.getBoundingClientRect(), frame = text.closest('svg').getBoundingClientRect();
        return text.getAttribute('opacity') !== '0' && (box.left < frame.left - 1 || box.right > frame.right + 1);
      }).map((text) => text.closest('figure').id + ' ' + text.textContent)
    """)
    assert cut == []


@pytest.mark.parametrize("width", [1280, 390])
def test_no_label_is_crossed_by_a_line_or_lies_on_another(browser: Browser, page_file: Path, width: int) -> None:
    opened = browser.page(width, 800)
    opened.open(page_file)
    opened.wait_for(READY)
    drawn = opened.evaluate(CROSSED)
    assert drawn["found"] == []
    assert drawn["labels"] > 500 and drawn["points"] > 20_000, "labels and lines were really looked at"


def test_it_prints(page: Page, tmp_path: Path) -> None:
    page.pdf(tmp_path / "report.pdf")
    printed = (tmp_path / "report.pdf").read_bytes()
    assert printed.startswith(b"%PDF-")
    assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") + printed.count(b"/Type /Page/") >= 8


def test_a_hostile_unit_does_nothing(browser: Browser, tmp_path: Path) -> None:
    name = "<script>alert(1)</script><img src=x onerror=alert(1)>"
    knob = Knob("<b>core</b>", "cpu", "mV", "down", 5, 100)
    with Journal.open(tmp_path) as journal:
        journal.add_unit(Unit(name=name, knobs=(knob,), notes="</script><script>alert(2)</script>"))
        for depth in (0.0, 20.0):
            journal.log_run(
                RunPlan(
                    unit_name=name, setting=Setting(values={knob.name: -depth}), load="<i>x</i>", planned_minutes=5,
                    knob=knob.name,
                ),
                Closing(outcome=Outcome.HELD, minutes=5, judged_by="eye"),
            )  # fmt: skip
        file = write_report(journal, name, tmp_path / "page.html")
    opened = browser.page(1280, 900)
    opened.open(file)
    opened.wait_for(READY)
    assert opened.complaints() == [] and opened.requests() == [file.resolve().as_uri()]
    assert opened.evaluate("document.querySelector('h1').textContent") == name
    assert opened.evaluate("document.querySelectorAll('img, b:not(.masthead b), main i').length") == 0
    assert not any(event["method"] == "Page.javascriptDialogOpening" for event in browser.events if "method" in event)
