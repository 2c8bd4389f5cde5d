"""Findings on features in page and report: their lines, what is folded away, and where their numbers lead."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
import specimen
from closed_forms import omni, responses
from features_made import H, causes, feature
from prose import Prose, says, squeezed, with_digits
from publishable import built, case_files, takes
from pypdf import PdfReader

from earwitness.derive.directivity import directivity, take_powers
from earwitness.findings.feature_statements import feature_statements
from earwitness.findings.next_table import SHOWS, Possible
from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.origins import anchor, numbers_in
from earwitness.publication.page import page
from earwitness.publication.pdf import report
from earwitness.publication.pictures import Pictures, picture_path
from earwitness.records.causes import Cause
from earwitness.records.figures import Evidence

POSSIBLE = Possible(frozenset(SHOWS), needs_clock=False)
SAID = causes((Cause.SPACED_SOURCES, 0.95), (Cause.RESONANCE, 0.2))
ALL_ROUND = [(H, float(angle)) for angle in range(-60, 61, 10)]


@pytest.fixture(scope="module")
def context() -> PublicationContext:
    loud = feature(1000.0, 12.0, ALL_ROUND, width_octaves=1.0)
    faint = feature(4000.0, 0.3, ALL_ROUND, gain_u_db=0.05)
    field = directivity(take_powers(responses(omni)))
    told = feature_statements(
        responses(omni), field, specimen.curve_set(), [(loud, SAID), (faint, SAID)], POSSIBLE
    )
    told = tuple(replace(one, evidence=Evidence((), (takes()[0].id,))) for one in told)
    made = built()
    return assemble(
        case_files(),
        replace(made, findings=replace(made.findings, findings=(*made.findings.findings, *told))),
    )


@pytest.fixture(scope="module")
def html(context: PublicationContext) -> str:
    return page(context)


def test_why_and_whether_it_is_heard_stand_in_the_page(html: str) -> None:
    assert "<dt>Why</dt><dd>Very likely two drive units apart" in html
    assert "<dt>Is it heard?</dt><dd>Likely. Pink noise" in html
    assert "Every cause that was tried" in html


def test_what_is_heard_comes_first_and_what_is_not_is_folded_away_last(
    context: PublicationContext, html: str
) -> None:
    assert context.findings[0].id == "feature-1"
    assert [f.id for f in context.unheard] == ["feature-2"]
    folded = html.index("unlikely to be heard</summary>")
    assert html.index('id="finding-feature-1"') < html.index('id="finding-claim-1"') < folded
    assert folded < html.index('id="finding-feature-2"')
    assert html.count('id="finding-feature-2"') == 1


def test_every_number_leads_to_what_it_says(context: PublicationContext, html: str) -> None:
    prose = Prose(html)
    assert with_digits(prose.loose) == []
    of_features = [n for n in numbers_in(context.findings) if n.reference.startswith("feature:")]
    assert len(of_features) > 20
    for number in of_features:
        assert context.resolve(number.reference) == pytest.approx(number.value, rel=1e-12)
        assert says(number.text, number.value), number
    assert {anchor(r) for r in prose.references} <= prose.ids
    assert "from-feature-1" in prose.ids


def test_a_features_origin_names_its_takes(context: PublicationContext) -> None:
    (origin,) = [o for o in context.origins if o.anchor == "from-feature-1"]
    assert origin.takes == (takes()[0].id,)
    assert any("95 %" in str(line.text) for line in origin.lines)


def test_the_report_says_the_same(context: PublicationContext) -> None:
    blank = b'<svg xmlns="http://www.w3.org/2000/svg" width="100" height="60"></svg>'
    drawn = Pictures({picture_path(e): blank for e in context.pictured}, dict.fromkeys(context.marks, blank))
    pages = PdfReader(io.BytesIO(report(context, drawn))).pages
    text = squeezed(" ".join(page.extract_text() for page in pages))
    for told in (
        "Why Very likely two drive units apart",
        "Is it heard? Likely. Pink noise",
        "Unlikely. Pink noise",
    ):
        assert squeezed(told) in text
