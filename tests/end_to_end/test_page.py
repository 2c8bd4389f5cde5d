"""The published page of real cases in a browser.

It fits, is readable and silent; statements and curves point at each other, by mouse and by keys.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium import (
    PHONE,
    WIDE,
    Visit,
    collisions,
    decade_px,
    decibel_px,
    faint,
    fits,
    frequency_px,
    names,
)
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser

CASES = ("demo", "half_empty")
EVERYWHERE = [(c, width, mode) for c in CASES for width in (WIDE, PHONE) for mode in ("light", "dark")]
in_light = pytest.mark.parametrize(
    "visited", [p for p in EVERYWHERE if p[2] == "light"], indirect=True, ids=lambda p: "-".join(map(str, p))
)
#: The curves that each exhibit draws, in its panel of levels or on its map.
DRAWS = {
    "response-set": {"on_axis", "listening_window", "early_reflections", "sound_power"},
    "on-axis": {"on_axis", "listening_window"},
    "in-room": {"estimated_in_room"},
    "coverage-horizontal": {"coverage_horizontal"},
    "coverage-vertical": {"coverage_vertical"},
    "budget": {"on_axis_uncertainty"},
    "waveforms": {"impulse", "step", "energy_time", "band_click"},
    "group-delay": {"group_delay", "excess_delay"},
    "decay": {"burst_decay", "cumulative_decay"},
}
#: Exhibits without an axis of frequency.
OVER_TIME = {"waveforms"}
INDICES = {"early_reflections_di", "sound_power_di"}
#: Resolves when the element has stayed where it is for ten frames.
STILL = """(selector) => new Promise((resolve) => {
  const of = document.querySelector(selector);
  let [top, frames] = [NaN, 0];
  const look = () => {
    const now = of.getBoundingClientRect().top;
    [top, frames] = now === top ? [top, frames + 1] : [now, 0];
    frames < 10 ? requestAnimationFrame(look) : resolve();
  };
  look();
})"""
POINTED = "() => [...document.querySelectorAll('.finding.pointed')].map((f) => f.dataset.finding)"


@pytest.fixture(scope="module", params=EVERYWHERE, ids=lambda p: "-".join(map(str, p)))
def visited(request: pytest.FixtureRequest, browser: Browser) -> Iterator[tuple[Visit, Path]]:
    case, width, mode = request.param
    root: Path = request.getfixturevalue(case)
    visit = Visit(browser, (root / "publication" / "index.html").as_uri(), width, mode)
    yield visit, root
    visit.context.close()


@pytest.fixture
def visit(visited: tuple[Visit, Path]) -> Visit:
    """The open page, at its own width and with nothing marked."""
    opened, _ = visited
    opened.page.set_viewport_size({"width": opened.width, "height": 900})
    opened.page.keyboard.press("Escape")
    opened.page.evaluate("document.activeElement.blur()")
    opened.page.mouse.move(1, 1)
    return opened


@pytest.fixture
def placed(visited: tuple[Visit, Path]) -> list[dict[str, Any]]:
    """The findings that have a place which an exhibit of the page shows, as ``findings.json`` says."""
    opened, root = visited
    found = json.loads((root / "build" / "findings.json").read_text("utf-8"))["findings"]
    drawn = set().union(*(DRAWS[e] for e in opened.exhibits())) | INDICES
    shown = [f for f in found if f["place"] and f["place"]["curve"] in drawn]
    assert shown
    return shown


def inside(finding: dict[str, Any]) -> tuple[float, float]:
    """The part of a finding's band that the frequency axis shows."""
    low, high = finding["place"]["band_hz"]
    return max(20.0, low), min(20_000.0, high)


def test_no_scrolling_sideways_at_the_widths_of_phone_and_desk(visit: Visit) -> None:
    assert fits(visit.page)
    right = (
        "[...document.querySelectorAll('h1, h2, h3, figcaption, dd, .note')].filter((e) => "
        "e.checkVisibility() && e.getBoundingClientRect().right > innerWidth + 0.5).map((e) => e.textContent)"
    )
    assert visit.page.evaluate(right) == []


def test_names_at_line_ends_do_not_collide(visit: Visit) -> None:
    for exhibit in visit.exhibits():
        visit.show(exhibit)
        element = f"exhibit-{exhibit}"
        assert names(visit.page, element)
        assert collisions(visit.page, element) == [], exhibit
        assert all(right <= visit.width for _, _, _, right, _ in names(visit.page, element)), exhibit


@in_light
def test_a_decade_is_as_long_as_25_decibels_after_a_resize(visit: Visit) -> None:
    # IEC 60263 (recalled).
    for width in (visit.width, 1100 if visit.width == WIDE else 700):
        visit.page.set_viewport_size({"width": width, "height": 900})
        visit.page.wait_for_timeout(400)
        for exhibit, axes in {"response-set": ("y", "y2"), "on-axis": ("y",), "in-room": ("y",)}.items():
            if exhibit not in visit.exhibits():
                continue
            visit.show(exhibit)
            element = f"exhibit-{exhibit}"
            for axis in axes:
                if axis == "y2" and not visit.page.query_selector(f"#{element} .y2tick"):
                    continue
                ratio = decade_px(visit.page, element) / decibel_px(visit.page, element, axis)
                assert ratio == pytest.approx(25.0, rel=0.01), (exhibit, axis, width)


def unfolded(page: Page) -> None:
    """Open what is folded away since it is unlikely heard, or of no sure height, as a reader would."""
    for fold in page.query_selector_all(".unheard:not([open]) > summary"):
        fold.press("Enter")
    assert page.query_selector(".unheard:not([open])") is None


@in_light
def test_clicking_a_statement_marks_its_place_where_it_is_shown(
    visit: Visit, placed: list[dict[str, Any]]
) -> None:
    unfolded(visit.page)
    for finding in placed:
        visit.page.click(f"#finding-{finding['id']} h3")
        assert visit.marked() == [finding["id"]]
        bands = visit.bands()
        assert bands
        low, high = inside(finding)
        for band in bands:
            assert finding["place"]["curve"] in DRAWS[band["exhibit"]] | INDICES
            left, right = (frequency_px(visit.page, f"exhibit-{band['exhibit']}", hz) for hz in (low, high))
            # A narrow band is drawn 6 px wide about its middle.
            middle, width = (left + right) / 2, max(6.0, right - left)
            assert band["x"] + band["width"] / 2 == pytest.approx(middle, abs=1.0), finding["id"]
            assert band["width"] == pytest.approx(width, abs=1.5), finding["id"]


@in_light
def test_tab_enter_and_escape_do_the_same(visit: Visit, placed: list[dict[str, Any]]) -> None:
    page = visit.page
    wanted = {finding["id"] for finding in placed}
    met: list[str] = []
    unfolded(page)
    page.evaluate("document.querySelector('.skip').focus()")
    for _ in range(700):
        page.keyboard.press("Tab")
        here = page.evaluate(
            "document.activeElement.matches('.finding') && document.activeElement.dataset.finding"
        )
        if page.evaluate("document.activeElement.matches('.skip')"):
            break  # once around
        if not here:
            if len(met) == len(wanted):
                break
            continue
        met.append(here)
        assert visit.marked() == [here]
        page.keyboard.press("Escape")
        assert visit.marked() == []
        assert visit.bands() == []
        page.keyboard.press("Enter")
        assert visit.marked() == [here]
        assert visit.bands()
        assert page.evaluate("document.activeElement.getAttribute('aria-current')") == "true"
    assert len(met) == len(set(met))
    assert set(met) == wanted


@in_light
def test_a_statement_is_one_stop_and_arrows_go_through_its_numbers(visit: Visit) -> None:
    page = visit.page
    first = ".statements .finding[tabindex]"
    assert page.eval_on_selector_all(".finding[tabindex] a.n", "all => all.every((one) => one.tabIndex < 0)")
    page.focus(first)
    numbers = page.query_selector_all(f"{first} >> nth=0 >> a.n")
    assert len(numbers) > 2
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    focused = "document.activeElement === document.querySelector('.statements .finding[tabindex]')"
    second = f"document.activeElement === document.querySelectorAll('{first} a.n')[1]"
    assert page.evaluate(second)
    page.keyboard.press("Enter")
    assert page.evaluate("document.querySelector('.card').open")
    page.keyboard.press("Escape")
    assert page.evaluate(second)
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert page.evaluate(focused)
    page.keyboard.press("ArrowLeft")
    assert page.evaluate(focused)
    page.keyboard.press("Escape")


@in_light
def test_pointing_at_a_curve_shows_the_statements_there(visit: Visit, placed: list[dict[str, Any]]) -> None:
    page = visit.page
    for exhibit in set(visit.exhibits()) - OVER_TIME:
        visit.show(exhibit)
        element = f"exhibit-{exhibit}"
        page.evaluate(f"document.querySelector('#{element} .plot').scrollIntoView({{ block: 'start' }})")
        page.evaluate(STILL, f"#{element} .plot")
        box = page.locator(f"#{element} .plot").bounding_box()
        assert box is not None
        for hz in (25.0, 65.0, 700.0, 2500.0, 17_500.0):
            page.mouse.move(frequency_px(page, element, hz), box["y"] + 60)
            page.evaluate(STILL, f"#{element} .plot")
            expected = {
                f["id"]
                for f in placed
                if f["place"]["curve"] in DRAWS[exhibit] and inside(f)[0] <= hz <= inside(f)[1]
            }
            assert set(page.evaluate(POINTED)) == expected, (exhibit, hz)
            told = page.inner_text(f"#{element} .here")
            assert bool(told.strip()) == bool(expected)
        page.mouse.move(1, 1)
        assert page.evaluate(POINTED) == []


@in_light
def test_a_phone_shows_no_heading_over_nothing(visit: Visit) -> None:
    if visit.width == WIDE:
        assert visit.page.is_visible("#exhibits > h2")
    left = visit.page.evaluate("document.querySelectorAll('#exhibits .exhibit').length")
    assert visit.page.is_visible("#exhibits > h2") == (left > 0)


def test_every_text_is_readable_and_nothing_was_asked_for(visit: Visit, placed: list[dict[str, Any]]) -> None:
    page = visit.page
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.click(f"#finding-{placed[0]['id']} h3")
    page.click("main a.n >> nth=0")
    for exhibit in visit.exhibits():
        visit.show(exhibit)
        assert faint(page) == []
    assert fits(page)
    assert visit.complaints == []
    assert [url for url in visit.requests if not url.startswith(("file:", "data:"))] == []


@pytest.mark.parametrize("case", CASES)
def test_without_its_script_everything_is_there(
    case: str, browser: Browser, request: pytest.FixtureRequest
) -> None:
    root: Path = request.getfixturevalue(case)
    context = browser.new_context(java_script_enabled=False, viewport={"width": PHONE, "height": 900})
    page = context.new_page()
    page.goto((root / "publication" / "index.html").as_uri())
    unfolded(page)
    text = page.inner_text("body").replace("\u00a0", " ")
    findings = json.loads((root / "build" / "findings.json").read_text("utf-8"))["findings"]
    for finding in findings:
        for words in ("statement", "explanation", "note"):
            assert "".join(p["text"] for p in finding[words]["parts"]).strip() in text
    # Closed entries count too.
    everything = (page.text_content("body") or "").replace("\u00a0", " ")
    figures = json.loads((root / "build" / "results.json").read_text("utf-8"))["figures"]
    for figure in figures:
        if figure["value"]["kind"] != "not_available" and page.query_selector(
            f"#from-figure-{figure['name']}"
        ):
            assert "".join(p["text"] for p in figure["conditions"]["parts"]) in everything
    stills = page.query_selector_all(".exhibit img.still")
    assert len(stills) == len(page.query_selector_all(".exhibit"))
    for still in stills:
        assert still.is_visible()
        assert (still.get_attribute("src") or "").endswith(".svg")
        assert still.evaluate("async (e) => { await e.decode(); return e.naturalWidth; }") > 300
    context.close()
