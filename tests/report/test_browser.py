"""The report opened from disk in a headless browser with the network off.

Contrast limits: W3C, Web Content Accessibility Guidelines 2.2, 1.4.3 and 1.4.11 (from memory).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from devtools import Browser, Page

from surefoot.journal import Journal
from surefoot.report.page import write_report
from surefoot.report.view import PageView
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


def test_a_picture_and_its_numbers_can_be_saved(page: Page) -> None:
    saved = page.evaluate("""
      (async () => {
        const kept = [], made = URL.createObjectURL, click = HTMLAnchorElement.prototype.click;
        URL.createObjectURL = (blob) => { kept.push(blob); return 'blob:none'; };
        HTMLAnchorElement.prototype.click = function () { kept.push(this.download); };
        const figure = document.querySelector('figure[data-key="limiters-cpu"]');
        figure.querySelector('[data-save=svg]').click();
        figure.querySelector('[data-save=csv]').click();
        URL.createObjectURL = made; HTMLAnchorElement.prototype.click = click;
        return [await kept[0].text(), kept[1], await kept[2].text(), kept[3]];
      })()
    """)
    assert saved[1::2] == ["limiters-cpu.svg", "limiters-cpu.csv"]
    root = ET.fromstring(saved[0])
    assert root.tag.endswith("svg") and "var(--" not in saved[0] and 'id="fill-thermal"' in saved[0]
    lines = saved[2].splitlines()
    assert lines[0].startswith("configuration,") and len(lines) == 6


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
