"""Published prose taken apart: digits that carry a reference, digits that don't, links, entries."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from html.parser import HTMLParser
from xml.etree.ElementTree import Element, TreeBuilder

from earwitness.records.sentences import Number, Quoted, Term

#: What a printed unit is in the unit of the value.
SCALES = {"ms": 1e-3, "mm": 1e-3, "kHz": 1e3, "kB": 1e3, "MB": 1e6, "min": 1 / 60, "s": 1 / 3600}
#: Elements whose text isn't prose, and classes whose digits are names or a person's.
NOT_PROSE = {"style", "script", "title", "code", "data", "pre"}
NAMES = {"t", "quoted"}
VOID = {"meta", "link", "img", "br", "hr", "input"}


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.builder = TreeBuilder()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.builder.start(tag, {key: value or "" for key, value in attrs})
        if tag in VOID:
            self.builder.end(tag)
        else:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag
        self.builder.end(tag)

    def handle_data(self, data: str) -> None:
        if self.open:
            self.builder.data(data)


class Prose:
    """A page as a tree, and what matters in it.

    `loose` is every text outside of what may hold digits, `ids` and `links` the anchors and what leads to
    them, `references` those of all numbers.
    """

    def __init__(self, html: str) -> None:
        reader = _Reader()
        reader.feed(html)
        self.root = reader.builder.close()
        everything = list(self.root.iter())
        self.ids = {e.attrib["id"] for e in everything if "id" in e.attrib}
        self.links = {h[1:] for e in everything if (h := e.get("href", "")).startswith("#")}
        self.references = [e.attrib["data-ref"] for e in everything if e.tag == "data"]
        self.loose = list(_loose(self.root))

    def entry(self, name: str) -> Element:
        """The one element with this id."""
        (found,) = (e for e in self.root.iter() if e.get("id") == name)
        return found


def _loose(element: Element) -> Iterator[str]:
    if element.tag in NOT_PROSE or NAMES & set(element.get("class", "").split()):
        return
    yield element.text or ""
    for child in element:
        yield from _loose(child)
        yield child.tail or ""


def with_digits(texts: list[str]) -> list[str]:
    """Those that hold a digit."""
    return [text for text in texts if any(c.isdigit() for c in text)]


def text_of(element: Element) -> str:
    """The text of an element and of everything in it."""
    return "".join(element.itertext())


def says(text: str, value: float) -> bool:
    """Whether a printed number is its value, rounded to what is printed; a share may be told in per cent."""
    match = re.fullmatch(r"[+±-]?([\d.]+)\s?(\S*)", text.replace("−", "-").replace("\u202f", ""))
    assert match is not None, text
    digits, unit = match.groups()
    if unit == "%" and abs(value) <= 1.0 and says(digits, 100.0 * value):
        return True
    scale = SCALES.get(unit, 1.0)
    # Half of the last printed digit, or of the third significant one of a round number; coverage is told in
    # frequencies of two digits, an uncertainty of tens of seconds in tens.
    allowed = max(0.5 * 10.0 ** -len(digits.partition(".")[2]) * scale, 0.005 * abs(value))
    if unit == "s" and digits.endswith("0"):
        allowed = max(allowed, 5.0 * scale)
    if unit in {"Hz", "kHz"} and value > 0:
        allowed = max(allowed, 0.5 * 10.0 ** (math.floor(math.log10(value)) - 1))
    return abs(float(digits) * scale - abs(value)) <= allowed * (1 + 1e-9)


def known_texts(thing: object) -> set[str]:
    """Every text that may hold digits: numbers, terms, quoted text, paths, hashes, names of code."""
    match thing:
        case Number() | Term() | Quoted():
            return {thing.text}
        case str():
            return {thing}
        case tuple():
            return set().union(*map(known_texts, thing)) if thing else set()
    if is_dataclass(thing):
        return set().union(*(known_texts(getattr(thing, f.name)) for f in fields(thing)))
    return set()


def squeezed(text: str) -> str:
    """The text without blanks and soft hyphens, for a PDF breaks lines where it will."""
    return re.sub(r"\s+|\u00ad", "", text)


def unexplained(page: str, known: set[str]) -> list[str]:
    """Digits of a page of the PDF, with what stands around them, that no known text holds.

    Known decimals go first, as words, so that cells of a table aren't taken together; then longer texts.
    """
    page = re.sub(r"\d+\s*/\s*\d+\s*$", "", page)  # the number of the page
    decimals = {one for one in known if re.fullmatch(r"\d+\.\d+", one)}
    text = squeezed(" ".join(word for word in page.split() if word not in decimals))
    for one in sorted((squeezed(t) for t in with_digits(list(known))), key=len, reverse=True):
        text = text.replace(one, "")
    return re.findall(r".{0,20}\d.{0,20}", text)
