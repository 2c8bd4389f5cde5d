"""What the browser's tests share: an open page, what it asks for and complains about, and its measures."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import combinations
from typing import Any, Literal

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, sync_playwright

WIDE, PHONE = 1440, 390
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


@contextmanager
def running() -> Iterator[Browser]:
    """Debian's chromium; a machine without it fails the tests instead of skipping them."""
    path = shutil.which("chromium")
    if path is None:
        pytest.fail("chromium isn't here: `make setup` installs it where this user may")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


class Visit:
    """One published page, open and drawn, with everything that it asked for and complained about."""

    def __init__(self, browser: Browser, address: str, width: int, mode: Mode = "light") -> None:
        self.width, self.mode = width, mode
        self.context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=mode)
        self.page: Page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: self.complaints.append(f"dialog {dialog.message}"))
        self.page.goto(address)
        self.drawn(".exhibit.current .plot" if width >= 900 else ".plot")

    def drawn(self, selector: str) -> None:
        """Wait until all these pictures are drawn."""
        self.page.wait_for_function(
            "(selector) => { const all = [...document.querySelectorAll(selector)]; return all.length > 0 "
            "&& all.every((p) => p.dataset.drawn && p.querySelector('.annotation-text')); }",
            arg=selector,
        )
        self.page.wait_for_timeout(200)

    def exhibits(self) -> list[str]:
        """The ids of the page's exhibits."""
        found: list[str] = self.page.evaluate(
            "[...document.querySelectorAll('.exhibit')].map((e) => e.dataset.exhibit)"
        )
        return found

    def show(self, exhibit: str) -> None:
        """Bring an exhibit into view: by its letter where one is shown at a time."""
        if self.page.is_visible(".letters"):
            self.page.click(f".letters button[data-shows='{exhibit}']")
        self.drawn(f"#exhibit-{exhibit} .plot")

    def marked(self) -> list[str]:
        """The statements that are marked."""
        return [
            m.get_attribute("data-finding") or "" for m in self.page.query_selector_all(".finding.marked")
        ]

    def bands(self) -> list[dict[str, Any]]:
        """Boxes of the marks that can be seen, and the exhibit in which each stands."""
        self.page.wait_for_timeout(250)
        found: list[dict[str, Any]] = self.page.evaluate(
            """[...document.querySelectorAll(".ew-mark")]
              .filter((e) => e.checkVisibility() && getComputedStyle(e).opacity === "1")
              .map((e) => ({ x: e.getBoundingClientRect().x, width: e.getBoundingClientRect().width,
                             exhibit: e.closest(".exhibit").dataset.exhibit }))"""
        )
        return found


def fits(page: Page) -> bool:
    """Whether nothing makes the page scroll sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"))


def faint(page: Page, least: float = 4.5) -> list[tuple[float, str]]:
    """Every text that can be seen with less contrast than WCAG's level AA asks for."""
    return [(ratio, text) for ratio, text in page.evaluate(CONTRASTS) if ratio < least]


def names(page: Page, element: str) -> list[tuple[str, float, float, float, float]]:
    """Names at line ends and of axes in a picture: text, left, top, right, bottom in pixels."""
    found: list[tuple[str, float, float, float, float]] = page.evaluate(
        """id => [...document.querySelectorAll(`#${id} .annotation-text`)].map(text => {
             const box = text.getBoundingClientRect();
             return [text.textContent, box.left, box.top, box.right, box.bottom]; })""",
        element,
    )
    return found


def collisions(page: Page, element: str) -> list[tuple[str, str]]:
    """Pairs of names in a picture that overlap."""
    return [
        (one, other)
        for (one, *a), (other, *b) in combinations(names(page, element), 2)
        if not (a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1])
    ]


def decade_px(page: Page, element: str) -> float:
    """The length of a decade by the grid lines at 50 Hz and 10 kHz, the first and last inside the panel."""
    middles: list[float] = page.evaluate(
        """id => [...document.querySelectorAll(`#${id} .gridlayer .x > path`)].map(line => {
             const box = line.getBoundingClientRect(); return box.x + box.width / 2; })""",
        element,
    )
    return float((max(middles) - min(middles)) / np.log10(10_000 / 50))


def decibel_px(page: Page, element: str, axis: str) -> float:
    """The height of a decibel by the names of the axis' ticks, which stand 5 dB apart."""
    middles: list[float] = page.evaluate(
        """([id, axis]) => [...document.querySelectorAll(`#${id} .${axis}tick text`)].map(text => {
             const box = text.getBoundingClientRect(); return box.y + box.height / 2; })""",
        [element, axis],
    )
    return float((max(middles) - min(middles)) / (5.0 * (len(middles) - 1)))


def frequency_px(page: Page, element: str, hz: float) -> float:
    """Where a frequency stands, by the names of the ticks at 100 Hz and 10 kHz."""
    middles: dict[str, float] = page.evaluate(
        """id => Object.fromEntries([...document.querySelectorAll(`#${id} .xtick, #${id} .x2tick`)]
             .map(tick => [tick.textContent, tick.getBoundingClientRect()])
             .map(([text, box]) => [text, box.x + box.width / 2]))""",
        element,
    )
    decade = (middles["10k"] - middles["100"]) / 2.0
    return float(middles["100"] + decade * np.log10(hz / 100.0))
