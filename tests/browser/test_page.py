"""The page in a browser: widths, modes, marks, keys, contrast, silence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, sync_playwright
from publishable import LONG_NAME, build_folder, built, case_files

from earwitness.publication.context import assemble
from earwitness.publication.publish import publish

pytestmark = pytest.mark.browser

WIDE, PHONE = 1440, 390
XTICKS, YTICKS = ".plot .xtick, .plot .x2tick", ".plot .ytick"
HOSTILE = '"><script>alert(1)</script>'
Mode = Literal["light", "dark"]

#: WCAG 2.1, 1.4.3: relative luminance and contrast (read), over every text node that can be seen.
CONTRASTS = """() => {
  const channel = (c) => (c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
  const parse = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const luminance = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const ground = (element) => {
    for (let e = element; e; e = e.parentElement) {
      const colour = parse(getComputedStyle(e).backgroundColor);
      if (colour.length === 3 || colour[3] === 1) return colour;
    }
    return [255, 255, 255];
  };
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.data.trim() || !element.checkVisibility({ opacityProperty: true })) continue;
    if (element.closest("script, style")) continue;
    const style = getComputedStyle(element);
    const colour = parse(element.closest("svg") ? style.fill : style.color);
    const [a, b] = [luminance(colour), luminance(ground(element))].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), walker.currentNode.data.trim().slice(0, 40)]);
  }
  return found;
}"""
#: Boxes of the names at line ends of each drawn picture: they are bold text of the picture.
NAMES = """() => [...document.querySelectorAll(".plot")].map((plot) =>
  [...plot.querySelectorAll(".annotation-text")]
    .filter((text) => text.querySelector('[style*="bold"]') || /bold/.test(text.getAttribute("style")))
    .map((text) => text.getBoundingClientRect())
    .map((box) => ({ top: box.top, bottom: box.bottom, left: box.left, right: box.right })))"""


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Addresses of the published specimen, of the half-empty one with a long name, and of a hostile one."""
    found = {}
    for key, name, half in (
        ("full", "Cobble Two", False),
        ("half", LONG_NAME, True),
        ("hostile", HOSTILE, False),
    ):
        root = tmp_path_factory.mktemp(key)
        context = assemble(case_files(name), built(half))
        found[key] = publish(context, build_folder(root / "build"), root / "publication").page.as_uri()
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield opened
        opened.close()


class Visit:
    """One page, open, with everything that it asked for and complained about."""

    def __init__(self, browser: Browser, address: str, width: int, mode: Mode = "light") -> None:
        self.context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=mode)
        self.page: Page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: self.complaints.append(f"dialog {dialog.message}"))
        self.page.goto(address)
        drawn = "(all) => all.every((plot) => !plot.dataset.drawn || plot.querySelector('.annotation-text'))"
        chosen = ".exhibit.current .plot" if width >= 900 else ".plot"
        self.page.wait_for_function(
            f"() => {{ const all = [...document.querySelectorAll('{chosen}')]; "
            f"return all.length > 0 && all.every((p) => p.dataset.drawn) && ({drawn})(all); }}"
        )
        self.page.wait_for_timeout(200)

    def marked(self) -> list[str]:
        return [
            m.get_attribute("data-finding") or "" for m in self.page.query_selector_all(".finding.marked")
        ]

    def bands(self) -> list[dict[str, float]]:
        """Boxes of the marks that can be seen."""
        self.page.wait_for_timeout(250)
        boxes = [
            band.evaluate("(e) => { const b = e.getBoundingClientRect(); return [b.x, b.width]; }")
            for band in self.page.query_selector_all(".ew-mark")
            if band.evaluate("(e) => e.checkVisibility() && getComputedStyle(e).opacity === '1'")
        ]
        return [{"x": x, "width": width} for x, width in boxes]


@pytest.fixture
def visit(browser: Browser, pages: dict[str, str], request: pytest.FixtureRequest) -> Iterator[Visit]:
    chosen: tuple[str, int, Mode] = getattr(request, "param", ("full", WIDE, "light"))
    key, width, mode = chosen
    opened = Visit(browser, pages[key], width, mode)
    yield opened
    opened.context.close()


everywhere = pytest.mark.parametrize(
    "visit",
    [(key, width, mode) for key in ("full", "half") for width in (PHONE, WIDE) for mode in ("light", "dark")],
    indirect=True,
    ids=lambda v: "-".join(map(str, v)),
)
phone = pytest.mark.parametrize("visit", [("full", PHONE, "light")], indirect=True)


@everywhere
def test_it_fits_is_readable_and_silent(visit: Visit) -> None:
    page = visit.page
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate(
        "[...document.querySelectorAll('h1, h2, h3, figcaption, dd')]"
        ".every((e) => e.getBoundingClientRect().right <= innerWidth + 0.5)"
    )
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.click(".finding[tabindex]")
    for ratio, text in page.evaluate(CONTRASTS):
        assert ratio >= 4.5, text
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert visit.complaints == []
    assert all(url.startswith(("file://", "data:")) for url in visit.requests)


@everywhere
def test_names_at_line_ends_do_not_collide(visit: Visit) -> None:
    pictures = visit.page.evaluate(NAMES)
    assert max(len(names) for names in pictures) >= 4
    for names in pictures:
        for a, b in combinations(names, 2):
            apart = a["bottom"] <= b["top"] + 3 or b["bottom"] <= a["top"] + 3
            assert apart or a["right"] <= b["left"] or b["right"] <= a["left"]
        assert all(name["right"] <= visit.page.evaluate("innerWidth") for name in names)


@pytest.mark.parametrize(
    ("visit", "then"), [(("full", WIDE, "light"), 1100), (("full", PHONE, "light"), 800)], indirect=["visit"]
)
def test_a_decade_is_as_long_as_25_db_after_a_resize(visit: Visit, then: int) -> None:
    # IEC 60263 (recalled): 25 dB to the decade.
    for width in (None, then):
        if width:
            visit.page.set_viewport_size({"width": width, "height": 900})
            visit.page.wait_for_timeout(600)
        x = _ticks(visit.page, XTICKS, "x", {"100": 2.0, "1k": 3.0, "10k": 4.0})
        y = _ticks(visit.page, YTICKS, "y", {str(v): float(v) for v in range(50, 95, 5)})
        decade = (x[4.0] - x[2.0]) / 2
        low, high = min(y), max(y)
        assert 25.0 * (y[low] - y[high]) / (high - low) == pytest.approx(decade, rel=0.01)


def _ticks(page: Page, selector: str, axis: str, wanted: dict[str, float]) -> dict[float, float]:
    """Middle of tick labels of the first panel by the value they say."""
    found: list[dict[str, Any]] = page.evaluate(
        """(selector) => [...document.querySelector("#exhibit-response-set").querySelectorAll(selector)]
          .map((tick) => [tick.textContent, tick.getBoundingClientRect()])
          .map(([text, box]) => ({ text, x: box.x + box.width / 2, y: box.y + box.height / 2 }))""",
        selector,
    )
    places: dict[float, float] = {}
    for tick in found:
        if tick["text"] in wanted:
            places.setdefault(wanted[tick["text"]], tick[axis])
    return places


def test_clicking_a_statement_marks_its_place(visit: Visit) -> None:
    visit.page.click("#finding-figure-f6")
    assert visit.marked() == ["figure-f6"]
    (band,) = visit.bands()
    ticks = _ticks(visit.page, XTICKS, "x", {"20": 20.0, "50": 50.0, "100": 100.0})
    # The place is 40 to 60 Hz; 50 Hz lies inside, 100 Hz doesn't.
    assert band["x"] < ticks[50.0] < band["x"] + band["width"] < ticks[100.0]
    visit.page.click("#finding-figure-sensitivity")
    assert visit.marked() == ["figure-sensitivity"]
    (wider,) = visit.bands()
    # A decade against 0.18 of one.
    assert wider["width"] / band["width"] == pytest.approx(1.0 / 0.17609, rel=0.01)


def test_tab_enter_and_escape_do_the_same(visit: Visit) -> None:
    for _ in range(80):
        visit.page.keyboard.press("Tab")
        if visit.page.evaluate("document.activeElement.matches('.finding')"):
            break
    first = visit.marked()
    assert first == ["figure-f6"]
    visit.page.keyboard.press("Escape")
    assert visit.marked() == []
    assert visit.bands() == []
    visit.page.keyboard.press("Enter")
    assert visit.marked() == ["figure-f6"]
    assert len(visit.bands()) == 1
    assert visit.page.evaluate("document.activeElement.getAttribute('aria-current')") == "true"


def test_pointing_at_the_curve_shows_its_statements(visit: Visit) -> None:
    visit.page.evaluate("document.querySelector('.story').scrollIntoView({ behavior: 'instant' })")
    ticks = _ticks(visit.page, XTICKS, "x", {"50": 50.0, "500": 500.0, "10k": 10_000.0})
    box = visit.page.query_selector("#exhibit-response-set .plot")
    assert box is not None
    place = box.bounding_box()
    assert place is not None
    pointed = "() => [...document.querySelectorAll('.finding.pointed')].map((f) => f.dataset.finding)"
    visit.page.mouse.move(ticks[50.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == ["figure-f6", "claim-1"]
    assert "Bass reaches down" in visit.page.inner_text("#exhibit-response-set .here")
    visit.page.mouse.move(ticks[500.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == ["figure-sensitivity"]
    visit.page.mouse.move(ticks[10_000.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == []
    visit.page.mouse.click(ticks[500.0], place["y"] + 120)
    assert visit.marked() == ["figure-sensitivity"]


def test_a_number_opens_where_it_comes_from(visit: Visit) -> None:
    visit.page.click(".figures a.n")
    card = visit.page.inner_text(".card")
    assert "CTA-2034-A" in card
    assert "recalled" in card
    assert "repeat not stated" in card
    assert re.search(r"horizontal_-170\.wav\s+[0-9a-f]{64}", card)
    visit.page.keyboard.press("Escape")
    assert not visit.page.is_visible(".card")
    assert visit.page.evaluate("document.activeElement.matches('a.n')")


def test_a_letter_chooses_its_exhibit(visit: Visit) -> None:
    visit.page.click(".letters button:nth-child(4)")
    assert visit.page.is_visible("#exhibit-coverage-horizontal")
    assert not visit.page.is_visible("#exhibit-response-set")
    visit.page.click("#finding-figure-f6")
    assert visit.page.is_visible("#exhibit-response-set")


@phone
def test_on_a_phone_the_exhibit_follows_its_sentence(visit: Visit) -> None:
    follows = "(id) => document.querySelector(`#finding-${id}`).nextElementSibling?.dataset.exhibit"
    visit.page.click("#finding-claim-1 .note")
    assert visit.page.evaluate(follows, "claim-1") == "response-set"
    visit.page.click("#finding-figure-sensitivity h3")
    assert visit.page.evaluate(follows, "figure-sensitivity") == "response-set"
    assert len(visit.bands()) >= 1


def test_the_mode_can_be_changed_by_hand(visit: Visit) -> None:
    colour = "getComputedStyle(document.body).backgroundColor"
    light = visit.page.evaluate(colour)
    visit.page.click(".mode")
    assert visit.page.evaluate(colour) != light
    for ratio, text in visit.page.evaluate(CONTRASTS):
        assert ratio >= 4.5, text


@pytest.mark.parametrize("visit", [("hostile", WIDE, "light")], indirect=True)
def test_a_hostile_name_is_only_a_name(visit: Visit) -> None:
    assert visit.page.inner_text("h1") == HOSTILE
    assert visit.page.title() == HOSTILE
    assert visit.complaints == []


def test_without_its_script_text_tables_and_pictures_are_there(
    browser: Browser, pages: dict[str, str]
) -> None:
    context = browser.new_context(java_script_enabled=False, viewport={"width": PHONE, "height": 900})
    page = context.new_page()
    page.goto(pages["full"])
    text = page.inner_text("body").replace("\u00a0", " ")
    for wanted in ("Bass reaches down to 47 Hz.", "86.4 ± 0.5 dB", "What was not measured", "Caution."):
        assert wanted in text
    assert page.is_visible("#exhibit-coverage-vertical img")
    context.close()


def test_it_prints_as_an_article(visit: Visit, tmp_path: Path) -> None:
    visit.page.click(".letters button:nth-child(2)")
    visit.page.emulate_media(media="print", color_scheme="dark")
    assert visit.page.is_visible("#exhibit-response-set img")
    assert not visit.page.is_visible("#exhibit-on-axis .plot")
    assert not visit.page.is_visible(".mode")
    luminous = visit.page.evaluate("getComputedStyle(document.querySelector('h1')).color")
    assert luminous == "rgb(29, 35, 39)"
