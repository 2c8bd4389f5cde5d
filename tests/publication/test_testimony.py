"""Listening notes in page and report: hostile words stay words, and numbers of the tally lead somewhere."""

from __future__ import annotations

import io
import unicodedata
from dataclasses import replace
from html import escape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from prose import Prose, says, squeezed, with_digits
from publishable import built, case_files
from pypdf import PdfReader

from earwitness.findings.testimony import held, note_statements, tally
from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.origins import anchor, numbers_in
from earwitness.publication.page import page
from earwitness.publication.pdf import report
from earwitness.publication.pictures import Pictures, picture_path
from earwitness.records.qualities import MEANINGS
from earwitness.records.testimony import Amount, HeardFrom, Note, Quality

BAND_HZ = (2000.0, 4000.0)
SEALED = "2026-11-20T12:00:00+00:00"
HOSTILE = 'thin <script>alert("x")</script> #panic("y")'


@pytest.fixture(scope="module")
def context() -> PublicationContext:
    made = built()
    notes = [
        Note(
            1, HOSTILE, Amount.TOO_LITTLE, (2000.0, 4000.0), HeardFrom.IN_THE_ROOM, SEALED, "", "", "", "s1"
        ),
        Note(2, "fine", None, None, HeardFrom.IN_THE_ROOM, SEALED, "", "", "s1", "s2"),
    ]
    told = held(notes, made.curves)
    together = tally(told, told)
    findings = (*made.findings.findings, *note_statements(told, made.curves))
    return assemble(
        case_files(), replace(made, findings=replace(made.findings, findings=findings, tally=together))
    )


@pytest.fixture(scope="module")
def html(context: PublicationContext) -> str:
    return page(context)


def test_words_of_a_note_stay_words(context: PublicationContext, html: str) -> None:
    assert '<script>alert("x")' not in html
    assert [f.id for f in context.testimony] == ["testimony-001", "testimony-002"]
    assert html.index('id="testimony"') < html.index('id="finding-testimony-001"')


def test_every_number_of_the_tally_leads_to_an_entry(context: PublicationContext, html: str) -> None:
    prose = Prose(html)
    assert with_digits(prose.loose) == []
    together = list(numbers_in(context.tally))
    assert len(together) == 7
    for number in together:
        assert context.resolve(number.reference) == pytest.approx(number.value, rel=1e-12)
        assert says(number.text.removesuffix(" note").removesuffix(" notes"), number.value), number
    assert {anchor(r) for r in prose.references} <= prose.ids
    assert prose.links <= prose.ids
    assert "from-tally" in prose.ids


def test_the_report_tells_it_too(context: PublicationContext) -> None:
    blank = b'<svg xmlns="http://www.w3.org/2000/svg" width="100" height="60"></svg>'
    drawn = Pictures({picture_path(e): blank for e in context.pictured}, dict.fromkeys(context.marks, blank))
    pages = PdfReader(io.BytesIO(report(context, drawn))).pages
    text = squeezed(" ".join(one.extract_text() for one in pages))
    assert squeezed("What was heard before") in text
    assert squeezed("it doesn’t prove when they were written") in text
    assert squeezed('#panic("y")') in text


@given(st.text(min_size=1, max_size=80), st.sampled_from(list(Quality)), st.sampled_from(list(HeardFrom)))
@settings(max_examples=6, deadline=None)
def test_any_words_stand_in_the_page_as_words(text: str, quality: Quality, heard_from: HeardFrom) -> None:
    """Text with markup in it stands escaped in the page, character for character."""
    words = "".join(c for c in text if unicodedata.category(c) not in {"Cc", "Cs", "Cn", "Co"}) + "<b>&amp;"
    made = built()
    meaning = MEANINGS[quality]
    note = Note(
        1, words, meaning.amount, meaning.band_hz, heard_from, SEALED, "", "", "", "s", quality=quality
    )
    told = held([note], made.curves)
    findings = (*made.findings.findings, *note_statements(told, made.curves))
    whole = assemble(
        case_files(), replace(made, findings=replace(made.findings, findings=findings, tally=tally(told)))
    )
    (statement,) = (finding.statement for finding in whole.testimony)
    assert escape(words, quote=False) in unescape_quotes(page(whole))
    assert str(statement).startswith(f"“{words}”")


def unescape_quotes(html: str) -> str:
    """Quotes may be escaped or not."""
    return html.replace("&#34;", '"').replace("&#39;", "'").replace("&quot;", '"').replace("&#x27;", "'")
