"""Every digit of generated prose has a reference, and the reference leads to the digit."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from prose import Prose, says, with_digits
from publishable import built, case_files

from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.origins import anchor, numbers_in
from earwitness.publication.page import page
from earwitness.records.errors import IntegrityError
from earwitness.records.sentences import Number, say


@pytest.fixture(scope="module", params=["full", "half empty"])
def case(
    request: pytest.FixtureRequest, context: PublicationContext, half_empty: PublicationContext
) -> PublicationContext:
    found = context if request.param == "full" else half_empty
    return found.with_downloads({"data/curves.csv": (208_123, "0" * 64)})


@pytest.fixture(scope="module")
def html(case: PublicationContext) -> str:
    return page(case)


def numbers(case: PublicationContext) -> list[Number]:
    return list(numbers_in(case))


def test_every_reference_names_the_value(case: PublicationContext) -> None:
    found = numbers(case)
    assert len(found) > 60
    for number in found:
        assert case.resolve(number.reference) == pytest.approx(number.value, rel=1e-12), number


def test_every_text_says_the_value(case: PublicationContext) -> None:
    assert [n for n in numbers(case) if not says(n.text, n.value)] == []


def test_no_other_digits_in_the_page(case: PublicationContext, html: str) -> None:
    prose = Prose(html)
    assert with_digits(prose.loose) == []
    alternatives = {n.reference for e in case.exhibits for n in e.alt.numbers}
    assert {n.reference for n in numbers(case)} - alternatives <= set(prose.references)


def test_a_stray_digit_is_noticed(html: str) -> None:
    assert Prose(html.replace("Findings<", "Findings 7<")).loose != Prose(html).loose


def test_every_link_in_the_page_arrives(html: str) -> None:
    prose = Prose(html)
    assert prose.links <= prose.ids
    assert {anchor(r) for r in prose.references} <= prose.ids


def test_from_a_number_to_the_hash_of_a_raw_file(case: PublicationContext) -> None:
    by_anchor = {origin.anchor: origin for origin in case.origins}
    figures = [f for f in case.results.figures if f.available]
    assert figures
    for figure in figures:
        origin = by_anchor[anchor(f"figure:{figure.name}/value/value")]
        assert origin.method == figure.method
        assert any(str(line.text) == str(figure.source) for line in origin.lines)
        takes = {*origin.takes, *(t for to, _ in origin.curves for t in by_anchor[to].takes)}
        assert takes >= set(figure.evidence.takes)
        for take in takes:
            assert re.fullmatch(r"[0-9a-f]{64}", case.raw_file(take).sha256)


def test_what_is_not_stated_is_said(context: PublicationContext) -> None:
    origin = next(o for o in context.origins if o.anchor == "from-figure-sensitivity")
    assert "repeat not stated" in str(
        next(x.text for x in origin.lines if str(x.label) == "Uncertainty from")
    )


@pytest.mark.parametrize(
    "number",
    [
        Number("3 dB", 3.0, "method:nowhere/LIMIT"),
        Number("3 dB", 3.0, "figure:sensitivity/value/colour"),
        Number("86.5 dB", 86.5, "figure:sensitivity/value/value"),
        Number("5", 5.0, "publication:trust/bands/12/uncertainty_db"),
    ],
    ids=["no method", "no field", "another value", "no index"],
)
def test_a_number_that_leads_nowhere_is_refused(number: Number) -> None:
    made = built()
    first, *rest = made.results.figures
    results = replace(made.results, figures=(replace(first, conditions=say("at ", number)), *rest))
    with pytest.raises(IntegrityError, match="build again"):
        assemble(case_files(), replace(made, results=results))
