"""What a reader sees and does in the page: `exhibit.js` in a real browser."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chromium import collisions, decade_px, decibel_px, fits, names
from playwright.sync_api import Browser, Page
from specimen import curve_set

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.labels import spread
from earwitness.exhibits.palette import TOKENS, Mode
from earwitness.exhibits.plotly import SCRIPT, interactive
from earwitness.exhibits.typefaces import WEB_FONTS

pytestmark = pytest.mark.browser

EXHIBITS = describe(curve_set(valid_from_hz=31.0))
HOSTILE = '<img src=x onerror="document.title=1">'

PAGE = """<!doctype html><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<style>{fonts} body {{ margin: 0 16px; font-family: "Earwitness Sans"; }}</style>
{places}
<script src="{plotly}"></script><script src="{script}"></script>
<script>
  const specs = {specs};
  const points = [];
  Earwitness.onPoint(function (point) {{ points.push(point); }});
  Earwitness.dress("light");
  const ready = Promise.all(Object.keys(specs).map(function (id) {{
    return Earwitness.draw(document.getElementById(id), specs[id]);
  }}));
</script>"""


def hostile_specs() -> dict[str, Any]:
    specs = {exhibit.id: interactive(exhibit) for exhibit in EXHIBITS}
    specs["on-axis"]["panels"][0]["lines"][0]["label"] = HOSTILE
    return specs


@pytest.fixture(scope="module")
def page_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    fonts = " ".join(
        f'@font-face {{ font-family: "{f.family}"; font-style: {f.style}; '
        f'font-weight: {f.weights[0]} {f.weights[1]}; src: url("{f.path.as_uri()}"); }}'
        for f in WEB_FONTS
    )
    plotly = Path(str(files("plotly"))) / "package_data" / "plotly.min.js"
    path = tmp_path_factory.mktemp("page") / "index.html"
    path.write_text(
        PAGE.format(
            fonts=fonts,
            places="".join(f'<div id="{exhibit.id}"></div>' for exhibit in EXHIBITS),
            plotly=plotly.as_uri(),
            script=SCRIPT.as_uri(),
            specs=json.dumps(hostile_specs(), allow_nan=False).replace("<", "\\u003c"),
        ),
        "utf-8",
    )
    return path


@pytest.fixture(scope="module")
def page(browser: Browser, page_file: Path) -> Iterator[Page]:
    opened = browser.new_page(viewport={"width": 900, "height": 1000})
    asked: list[str] = []
    failures: list[str] = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.on("pageerror", lambda error: failures.append(str(error)))
    opened.goto(page_file.as_uri())
    opened.evaluate("ready.then(() => document.fonts.ready).then(() => null)")
    yield opened
    opened.close()
    assert [url for url in asked if not url.startswith("file:")] == []
    assert failures == []


def resize(page: Page, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 1000})
    page.wait_for_function(
        "() => Object.keys(specs).every(id => {"
        " const e = document.getElementById(id);"
        " return Math.abs(e.querySelector('.main-svg').getBoundingClientRect().width - e.clientWidth) < 1; })"
    )


@pytest.mark.parametrize("width", [1440, 900, 390])
def test_a_decade_is_as_long_as_25_decibels_in_pixels_after_a_resize(page: Page, width: int) -> None:
    resize(page, width)
    for exhibit, axis in (("response-set", "y"), ("response-set", "y2"), ("on-axis", "y"), ("in-room", "y2")):
        seen = decade_px(page, exhibit) / decibel_px(page, exhibit, axis)
        assert seen == pytest.approx(25.0, rel=0.01), (exhibit, axis)


@pytest.mark.parametrize("width", [1440, 520, 519, 390, 320])
def test_names_at_line_ends_never_collide_nor_leave_the_page(page: Page, width: int) -> None:
    resize(page, width)
    assert fits(page)
    for exhibit in EXHIBITS:
        boxes = names(page, exhibit.id)
        outer = page.evaluate(
            "id => document.getElementById(id).getBoundingClientRect().toJSON()", exhibit.id
        )
        assert len(boxes) >= 3
        for text, left, top, right, bottom in boxes:
            assert outer["left"] <= left, text
            assert right <= outer["right"], text
            assert outer["top"] <= top, text
            assert bottom <= outer["bottom"], text
        assert collisions(page, exhibit.id) == []


def test_the_script_places_names_as_the_printed_renderer_does(page: Page) -> None:
    random = np.random.default_rng(7)
    for count in (0, 1, 2, 5, 12):
        wanted = np.round(random.uniform(-20.0, 220.0, count), 1).tolist()
        placed = page.evaluate("([w, g, l, h]) => Earwitness.spread(w, g, l, h)", [wanted, 14.0, 0.0, 200.0])
        assert placed == pytest.approx(spread(wanted, 14.0, 0.0, 200.0).tolist())


def band_px(page: Page, exhibit: str) -> list[tuple[float, float]]:
    found: list[tuple[float, float]] = page.evaluate(
        """id => { const e = document.getElementById(id), left = e.getBoundingClientRect().left;
             return [...e.querySelectorAll('.ew-mark')]
               .filter(m => getComputedStyle(m).opacity === '1')
               .map(m => m.getBoundingClientRect())
               .map(b => [b.left - left, b.right - left]); }""",
        exhibit,
    )
    return found


def mark(page: Page, exhibit: str, marks: object) -> None:
    page.evaluate("([id, marks]) => Earwitness.mark(document.getElementById(id), marks)", [exhibit, marks])


def test_a_mark_stands_on_its_band_and_stays_there_when_the_page_narrows(page: Page) -> None:
    wanted = {"panel": "levels", "from_hz": 200.0, "to_hz": 2000.0, "number": 3}
    resize(page, 900)
    mark(page, "response-set", wanted)
    for width in (900, 390):
        resize(page, width)
        (band,) = band_px(page, "response-set")
        decade = decade_px(page, "response-set")
        assert band[1] - band[0] == pytest.approx(decade, abs=1.0)
        assert band[0] == pytest.approx(34.0 + decade, abs=1.0)  # 200 Hz is a decade from the left edge
    assert page.locator("#response-set .ew-mark").inner_text() == "3"
    mark(page, "response-set", None)
    page.wait_for_timeout(250)
    assert band_px(page, "response-set") == []


def test_a_mark_glides_unless_motion_isnt_wanted(page: Page) -> None:
    def transition() -> str:
        mark(page, "on-axis", {"panel": "levels", "from_hz": 100.0, "to_hz": 200.0})
        mark(page, "on-axis", {"panel": "levels", "from_hz": 1000.0, "to_hz": 2000.0})
        told: str = page.evaluate("document.querySelector('#on-axis .ew-mark').style.transition")
        return told

    assert "150ms" in transition()
    page.emulate_media(reduced_motion="reduce")
    assert "150ms" not in transition()
    page.emulate_media(reduced_motion="no-preference")


def test_a_dress_changes_every_line_without_drawing_again(page: Page) -> None:
    for mode in (Mode.DARK, Mode.LIGHT):
        page.evaluate("mode => Earwitness.dress(mode)", mode.value)
        page.wait_for_timeout(100)
        strokes = page.evaluate(
            """[...document.querySelectorAll('#response-set path.js-line')].map(p => p.style.stroke)"""
        )
        for line in EXHIBITS[0].panels[0].lines:
            red, green, blue = (int(TOKENS[mode].roles[line.role][i : i + 2], 16) for i in (1, 3, 5))
            assert f"rgb({red}, {green}, {blue})" in strokes


def test_pointing_at_a_curve_tells_the_frequency_and_the_value(page: Page) -> None:
    resize(page, 900)
    page.evaluate("window.scrollTo(0, 0)")
    box = page.locator("#response-set").bounding_box()
    assert box is not None
    decade = decade_px(page, "response-set")
    page.mouse.move(box["x"] + 34.0 + decade * np.log10(1000 / 20), box["y"] + 100)
    point = page.evaluate("points[points.length - 1]")
    assert (point["exhibit"], point["panel"], point["chosen"]) == ("response-set", "levels", False)
    assert point["frequency_hz"] == pytest.approx(1000.0, rel=0.01)
    told = page.locator("#response-set").inner_text()
    # The specimen at 1 kHz: 86 dB on axis, ± 0.4 dB.
    assert "on axis 86.0 ± 0.4 dB" in told
    page.mouse.click(box["x"] + 34.0 + decade, box["y"] + 100)
    assert page.evaluate("points[points.length - 1].chosen")
    page.mouse.move(2, 2)
    assert page.evaluate("points[points.length - 1].frequency_hz") is None


def test_the_keyboard_reads_a_picture_too(page: Page) -> None:
    hand = page.locator("#coverage-horizontal [role=slider]")
    hand.focus()
    page.keyboard.press("PageUp")
    first = page.evaluate("points[points.length - 1]")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("points[points.length - 1].frequency_hz") == pytest.approx(
        first["frequency_hz"] * 2 ** (1 / 24)
    )
    for _ in range(3):
        page.keyboard.press("ArrowUp")
    assert "at +30° −" in (hand.get_attribute("aria-valuetext") or "")
    page.keyboard.press("Enter")
    assert page.evaluate("points[points.length - 1].chosen")
    page.keyboard.press("Escape")
    assert page.evaluate("points[points.length - 1].frequency_hz") is None


def test_what_isnt_valid_isnt_told(page: Page) -> None:
    hand = page.locator("#response-set [role=slider]")
    hand.focus()
    for _ in range(6):
        page.keyboard.press("PageDown")
    assert hand.get_attribute("aria-valuetext") == "20 Hz: not valid here"


def test_names_from_the_data_are_text(page: Page) -> None:
    hand = page.locator("#on-axis [role=slider]")
    hand.focus()
    page.keyboard.press("ArrowRight")
    assert HOSTILE in (hand.get_attribute("aria-valuetext") or "")
    assert page.locator("#on-axis img").count() == 0
    assert page.title() == ""


def test_names_stand_beside_the_ends_of_their_lines(page: Page) -> None:
    resize(page, 1440)
    heights: dict[str, float] = page.evaluate(
        """Object.fromEntries([...document.querySelectorAll('#response-set .annotation-text')].slice(0, 4)
             .map(text => { const box = text.getBoundingClientRect();
                            return [text.textContent, box.y + box.height / 2]; }))"""
    )
    ticks: dict[str, float] = page.evaluate(
        """Object.fromEntries([...document.querySelectorAll('#response-set .ytick text')]
             .map(text => { const box = text.getBoundingClientRect();
                            return [text.textContent, box.y + box.height / 2]; }))"""
    )
    decibel = (ticks["50"] - ticks["90"]) / 40.0
    for line in EXHIBITS[0].panels[0].lines:
        expected = ticks["90"] + (90.0 - line.y[-1]) * decibel
        # A name may be moved by less than its own height.
        assert heights[line.label] == pytest.approx(expected, abs=10.0), line.label
    assert list(heights.values()) == sorted(heights.values())
