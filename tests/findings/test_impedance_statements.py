"""What is said of an impedance: its numbers, its cautions, and a claimed rating."""

from __future__ import annotations

from dataclasses import replace

import made_impedance
import numpy as np
import pytest
import specimen

from earwitness.findings.claims import judge_claims
from earwitness.findings.find import find
from earwitness.findings.impedance_statements import impedance_statements
from earwitness.records.facts import Claim
from earwitness.records.findings import ClaimJudgement, Finding, Judgement

CURVES = made_impedance.with_impedance(specimen.curve_set())
FINE = np.geomspace(20.0, 18_000.0, 100_001)
#: The closed form of the specimen's impedance, and its least between 80 Hz and where the inductance rules.
OHMS = 6.0 + 20.0 / (1.0 + 4j * (FINE / 80.0 - 80.0 / FINE)) + 2j * np.pi * FINE * 3e-4
LEAST = float(np.abs(OHMS).min())


def said(rated_ohm: float | None = None, percent: float | None = 1.0) -> dict[str, Finding]:
    curves = made_impedance.with_impedance(specimen.curve_set(), percent, to_hz=25e3)
    figures = {figure.name: figure for figure in made_impedance.figures(curves, rated_ohm)}
    return {finding.id: finding for finding in impedance_statements(curves, figures)}


def judged(claim: Claim, percent: float | None = 1.0, to_hz: float = 18e3) -> ClaimJudgement:
    curves = made_impedance.with_impedance(specimen.curve_set(), percent, to_hz=to_hz)
    figures = {figure.name: figure for figure in made_impedance.figures(curves)}
    found = judge_claims(curves, figures, replace(specimen.facts(), claims=(claim,)))[0].claim
    assert found is not None
    return found


def test_nothing_is_said_without_an_impedance() -> None:
    assert impedance_statements(specimen.curve_set(), {}) == ()


def test_the_least_impedance() -> None:
    finding = said()["figure-impedance_minimum"]
    # 6.01 Ω by the closed form; one per cent of it is 0.06 Ω
    assert str(finding.statement).startswith(f"The impedance falls to {LEAST:.2f} ± 0.06 Ω at ")
    assert "look up what load its maker allows" in str(finding.explanation)
    assert "qualified people" in str(finding.explanation)
    assert finding.place is not None
    assert finding.place.curve == "impedance"


def test_a_scale_that_is_not_stated_leaves_one_digit() -> None:
    assert str(said(percent=None)["figure-impedance_minimum"].statement).startswith(
        f"The impedance falls to {LEAST:.1f} Ω at "
    )


def test_a_rating_that_is_kept_and_one_that_is_not() -> None:
    """IEC 60268-5 (recalled): at least 80 % of the rated impedance."""
    kept, missed = said(6.0)["figure-impedance_minimum"], said(8.0)["figure-impedance_minimum"]
    assert f"{100.0 * LEAST / 6.0:.0f} % of the rated impedance" in str(kept.explanation)
    assert "the rating is kept" in str(kept.explanation)
    assert f"{100.0 * LEAST / 8.0:.0f} % of the rated impedance" in str(missed.explanation)
    assert "the rating is not kept" in str(missed.explanation)
    assert missed.importance > kept.importance


def test_the_load_names_its_model() -> None:
    finding = said()["figure-amplifier_load"]
    assert "as hard as a resistor of" in str(finding.statement)
    assert "ideal class-B amplifier" in str(finding.explanation)


def test_the_box() -> None:
    finding = said()["figure-box_tuning"]
    assert str(finding.statement).startswith("Its driver resonates at 80.0 ± 0.4 Hz")
    # Qt = 4·6/26 = 0.923
    assert "Its total Q is 0.92" in str(finding.explanation)


def test_every_number_refers_to_what_it_says() -> None:
    facts = replace(specimen.facts(), claims=(Claim("nominal 8 Ω", "impedance", 8.0),))
    figures = (*specimen.results().figures, *made_impedance.figures(CURVES, 8.0))
    found = find(CURVES, figures, facts)
    assert {"figure-impedance_minimum", "figure-amplifier_load", "claim-0"} <= {one.id for one in found}


@pytest.mark.parametrize(
    ("ohms", "percent", "outcome"),
    [
        (6.0, 1.0, Judgement.CONFIRMED),
        # 80 % of it is more than is there, but by less than twice one per cent
        (1.015 * LEAST / 0.8, 1.0, Judgement.CONFIRMED),
        (1.025 * LEAST / 0.8, 1.0, Judgement.NOT_CONFIRMED),
        (1.025 * LEAST / 0.8, None, Judgement.CANNOT_JUDGE),
    ],
)
def test_a_claimed_rating(ohms: float, percent: float | None, outcome: Judgement) -> None:
    assert judged(Claim("nominal impedance", "impedance", ohms), percent, to_hz=25e3).judgement is outcome


def test_a_claim_that_holds_as_far_as_is_valid_can_not_be_judged() -> None:
    assert judged(Claim("nominal 6 Ω", "impedance", 6.0)).judgement is Judgement.CANNOT_JUDGE


def test_a_claimed_rating_depends_on_the_range() -> None:
    """From 60 Hz to 100 Hz it is far above 6.4 Ω, over the audible range it isn't."""
    claim = Claim("nominal 8 Ω", "impedance", 8.0, (60.0, 100.0))
    assert judged(claim).judgement is Judgement.DEPENDS


def test_a_claim_without_an_impedance_can_not_be_judged() -> None:
    facts = replace(specimen.facts(), claims=(Claim("nominal 8 Ω", "impedance", 8.0),))
    found = judge_claims(specimen.curve_set(), {}, facts)[0]
    assert found.claim is not None
    assert found.claim.judgement is Judgement.CANNOT_JUDGE
    assert str(found.explanation) == "The measurements don’t reach as far as the claim does."
