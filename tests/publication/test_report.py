"""The PDF: tagged, linked, every digit known, and no text of a case is ever source code."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, cast

import pytest
from prose import known_texts, squeezed, unexplained
from publishable import LONG_NAME, built, case_files
from pypdf import PdfReader

from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.origins import numbers_in
from earwitness.publication.pdf import report
from earwitness.publication.pictures import Pictures, picture_path, pictures

BLANK = b'<svg xmlns="http://www.w3.org/2000/svg" width="100" height="60"></svg>'


def blank_pictures(context: PublicationContext) -> Pictures:
    return Pictures({picture_path(e): BLANK for e in context.pictured}, dict.fromkeys(context.marks, BLANK))


def read(content: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(content))


@pytest.fixture(scope="module")
def pdf(published: Path) -> PdfReader:
    return PdfReader(published / "report.pdf")


def test_it_is_tagged(pdf: PdfReader) -> None:
    root = cast("dict[str, Any]", pdf.trailer["/Root"])
    assert root["/MarkInfo"]["/Marked"]
    assert root["/StructTreeRoot"]["/K"]
    assert root["/Lang"] == "en-GB"
    assert pdf.metadata is not None
    assert pdf.metadata.title == "Cobble Two"
    assert "/CreationDate" not in pdf.metadata
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_every_number_is_a_link(context: PublicationContext, pdf: PdfReader) -> None:
    links = [cast("dict[str, Any]", a.get_object()) for page in pdf.pages for a in page.get("/Annots", ())]
    prose = (context.header, context.rows, context.findings, context.trust)
    assert len([link for link in links if link["/Subtype"] == "/Link"]) >= len(list(numbers_in(prose)))


def test_no_other_digits(context: PublicationContext) -> None:
    context = context.with_downloads({"data/curves.csv": (208_123, "0" * 64), "data/x.nc": (7, "5" * 64)})
    pdf = read(report(context, pictures(context)))
    found = known_texts((context.header, context.rows, context.findings, context.exhibits, context.trust))
    found |= known_texts(
        (
            context.verdict,
            context.checked,
            context.origins,
            context.take_sets,
            context.raw_files,
            context.revisions,
            context.downloads,
        )
    )
    found |= {context.build_id, context.program, context.title, "raw"}
    for page in pdf.pages:
        assert unexplained(page.extract_text(), found) == []


def test_it_shows_what_was_checked_with_its_pictures(context: PublicationContext, pdf: PdfReader) -> None:
    assert context.checked is not None
    text = squeezed("".join(page.extract_text() for page in pdf.pages))
    places = [text.index(squeezed(str(one.text))) for one in context.checked.lines]
    assert places == sorted(places)
    for one in context.checked.lines:
        assert squeezed(str(one.remedy)) in text
        assert squeezed(str(one.limit)) in text
    alternatives = _alternatives(pdf)
    for exhibit in context.checked.exhibits:
        assert squeezed(f"Exhibit {exhibit.letter}. {exhibit.title}.") in text
        assert str(exhibit.alt) in alternatives


def test_without_points_the_report_says_nothing_of_them(half_empty: PublicationContext) -> None:
    text = "".join(p.extract_text() for p in read(report(half_empty, blank_pictures(half_empty))).pages)
    assert "What was not measured" in text
    assert "What was checked" not in text


def _alternatives(pdf: PdfReader) -> set[str]:
    """The alternative texts of all tagged figures."""
    found: set[str] = set()
    waiting: list[Any] = [cast("dict[str, Any]", pdf.trailer["/Root"])["/StructTreeRoot"]]
    while waiting:
        one = waiting.pop()
        one = one.get_object() if hasattr(one, "get_object") else one
        if isinstance(one, list):
            waiting += one
        elif isinstance(one, dict):
            if "/Alt" in one:
                found.add(str(one["/Alt"]))
            waiting.append(one.get("/K"))
    return found


def test_the_same_bytes_again(context: PublicationContext) -> None:
    blank = blank_pictures(context)
    assert report(context, blank) == report(context, blank)


@pytest.mark.parametrize(
    "name",
    [
        '#read("/etc/passwd")',
        '"><script>alert(1)</script>',
        "$ x $ *a* _b_ @c <d> \\ #{1+1} `e` // f /* g */ = h",
        '"]) #eval("1+1")',
        "扬声器 громкоговоритель 🔊",
        "a\u202eb\u0000c",
        LONG_NAME,
        "W" * 300,
    ],
)
def test_any_name_passes_harmlessly(name: str) -> None:
    context = assemble(case_files(name), built())
    text = read(report(context, blank_pictures(context))).pages[0].extract_text()
    assert "root:" not in text
    if name.isascii():
        assert squeezed(name) in squeezed(text)


def test_a_case_without_anything_to_show(half_empty: PublicationContext) -> None:
    assert len(read(report(half_empty, pictures(half_empty))).pages) > 2
