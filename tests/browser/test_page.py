"""The page in a browser: widths, modes, marks, keys, contrast, silence."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from chromium import (
    PHONE,
    WIDE,
    Mode,
    Visit,
    collisions,
    decade_px,
    decibel_px,
    faint,
    fits,
    frequency_px,
    names,
)
from playwright.sync_api import Browser
from publishable import LONG_NAME, build_folder, built, case_files

from earwitness.publication.context import assemble
from earwitness.publication.publish import publish

pytestmark = pytest.mark.browser

HOSTILE = '"><script>alert(1)</script>'


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
    assert fits(page)
    assert page.evaluate(
        "[...document.querySelectorAll('h1, h2, h3, figcaption, dd')]"
        ".every((e) => e.getBoundingClientRect().right <= innerWidth + 0.5)"
    )
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    page.click(".finding[tabindex]")
    assert faint(page) == []
    assert fits(page)
    assert visit.complaints == []
    assert all(url.startswith(("file://", "data:")) for url in visit.requests)


@everywhere
def test_names_at_line_ends_do_not_collide(visit: Visit) -> None:
    for exhibit in visit.exhibits():
        visit.show(exhibit)
        assert len(names(visit.page, f"exhibit-{exhibit}")) >= 3
        assert collisions(visit.page, f"exhibit-{exhibit}") == []


@pytest.mark.parametrize(
    ("visit", "then"), [(("full", WIDE, "light"), 1100), (("full", PHONE, "light"), 800)], indirect=["visit"]
)
def test_a_decade_is_as_long_as_25_db_after_a_resize(visit: Visit, then: int) -> None:
    # IEC 60263 (recalled): 25 dB to the decade.
    for width in (None, then):
        if width:
            visit.page.set_viewport_size({"width": width, "height": 900})
            visit.page.wait_for_timeout(600)
        decade = decade_px(visit.page, "exhibit-response-set")
        assert decade / decibel_px(visit.page, "exhibit-response-set", "y") == pytest.approx(25.0, rel=0.01)


def test_clicking_a_statement_marks_its_place(visit: Visit) -> None:
    visit.page.click("#finding-figure-f6")
    assert visit.marked() == ["figure-f6"]
    (band,) = visit.bands()
    # The place is 40 to 60 Hz.
    low, high = (frequency_px(visit.page, "exhibit-response-set", hz) for hz in (40.0, 60.0))
    assert band["x"] == pytest.approx(low, abs=1.0)
    assert band["x"] + band["width"] == pytest.approx(high, abs=1.0)
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
    at = {hz: frequency_px(visit.page, "exhibit-response-set", hz) for hz in (50.0, 500.0, 10_000.0)}
    box = visit.page.query_selector("#exhibit-response-set .plot")
    assert box is not None
    place = box.bounding_box()
    assert place is not None
    pointed = "() => [...document.querySelectorAll('.finding.pointed')].map((f) => f.dataset.finding)"
    visit.page.mouse.move(at[50.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == ["figure-f6", "claim-1"]
    assert "Bass reaches down" in visit.page.inner_text("#exhibit-response-set .here")
    visit.page.mouse.move(at[500.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == ["figure-sensitivity"]
    visit.page.mouse.move(at[10_000.0], place["y"] + 120)
    assert visit.page.evaluate(pointed) == []
    visit.page.mouse.click(at[500.0], place["y"] + 120)
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


@pytest.mark.parametrize(
    "visit", [("full", PHONE, "dark"), ("full", WIDE, "light")], indirect=True, ids=["phone", "wide"]
)
def test_a_folded_picture_of_a_check_is_drawn_when_keys_open_it(visit: Visit) -> None:
    page, chart = visit.page, "exhibit-quality-signal-to-noise"
    page.evaluate("document.querySelector('#what-was-checked').scrollIntoView({ behavior: 'instant' })")
    page.wait_for_selector("#exhibit-quality-first-against-last .annotation-text")
    page.wait_for_timeout(300)
    assert page.query_selector(f"#{chart} .annotation-text") is None
    page.focus("#check-signal_to_noise summary")
    page.keyboard.press("Enter")
    page.wait_for_selector(f"#{chart} .annotation-text")
    page.wait_for_timeout(200)
    assert len(names(page, chart)) >= 3
    assert collisions(page, chart) == []
    assert faint(page) == []
    assert fits(page)
    # Reading it out points at no statement and complains of nothing.
    page.focus(f"#{chart} [role=slider]")
    page.keyboard.press("ArrowRight")
    assert "on axis" in (page.get_attribute(f"#{chart} [role=slider]", "aria-valuetext") or "")
    assert visit.complaints == []


def test_the_state_of_a_check_differs_in_form_and_in_words(visit: Visit) -> None:
    found = visit.page.evaluate(
        """[...document.querySelectorAll(".check")].map((e) => {
             const s = getComputedStyle(e.querySelector(".sign"));
             return [e.querySelector(".state").textContent.trim(),
                     [s.borderRadius, s.borderStyle, s.clipPath, s.backgroundColor].join()]; })"""
    )
    assert [words for words, _ in found] == ["unfit", "to look at", "can’t tell", "fine"]
    assert len({form for _, form in found}) == 4
    places = visit.page.evaluate(
        "[...document.querySelectorAll('.check')].map((e) => e.getBoundingClientRect().top)"
    )
    assert places == sorted(places)


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
    assert faint(visit.page) == []


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
    assert visit.page.is_visible("#exhibit-quality-first-against-last img")
    assert not visit.page.is_visible("#exhibit-quality-first-against-last .chart")
    luminous = visit.page.evaluate("getComputedStyle(document.querySelector('h1')).color")
    assert luminous == "rgb(29, 35, 39)"
