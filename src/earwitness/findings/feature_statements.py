"""Statements on features: what stands out of the response and where, what causes it, what that comes to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from earwitness.derive.formatting import decimals_for, number_text, value_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.cause_words import cause_sentences, details
from earwitness.findings.feature_places import by_direction, place_of, takes_of, where
from earwitness.records.causes import FeatureCauses
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.features import Feature, FeatureKind
from earwitness.records.figures import Evidence
from earwitness.records.findings import Finding, Story
from earwitness.records.responses import Responses
from earwitness.records.sentences import EMPTY, Number, Sentence, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import TakeId

#: What the page calls each kind.
KINDS: Final[Mapping[FeatureKind, str]] = {"peak": "A peak", "dip": "A dip"}
#: A height that is less sure than this part of it is told as it is seen through the gate.
LEAST_SURE: Final = 0.35
#: Of what nobody has looked at yet whether it is heard.
IMPORTANCE: Final = 0.72
SOURCE: Final = Source("Earwitness", "", "features through the gate", Standing.OWN)


def feature_statements(
    responses: Responses, curves: CurveSet, features: Sequence[Feature], causes: Sequence[FeatureCauses]
) -> tuple[Finding, ...]:
    """One finding a feature, numbered from the lowest frequency up."""
    rows = by_direction(responses)
    ordered = sorted(zip(features, causes, strict=True), key=lambda pair: pair[0].frequency_hz)
    return tuple(
        _finding(number, feature, told, curves, takes_of(feature, rows))
        for number, (feature, told) in enumerate(ordered, 1)
    )


def _finding(
    number: int, feature: Feature, causes: FeatureCauses, curves: CurveSet, takes: tuple[TakeId, ...]
) -> Finding:
    root = f"feature:{number}"
    here = f"{root}/feature"
    on_axis = any(place.direction.angle_deg == 0.0 for place in feature.places)
    return Finding(
        id=f"feature-{number}",
        subject="feature",
        statement=say(
            f"{KINDS[feature.kind]} of ",
            height(feature, here),
            " at ",
            frequency(feature.frequency_hz, f"{here}/frequency_hz"),
            ", ",
            where(feature, here),
            ".",
        ),
        explanation=EMPTY,
        note=_note(feature, here),
        importance=IMPORTANCE,
        place=place_of(feature, curves.drive),
        figures=(),
        evidence=Evidence((CurveName.ON_AXIS,) if on_axis else (), takes),
        feature=feature,
        causes=causes,
        story=Story(
            cause=cause_sentences(causes, f"{root}/causes"),
            details=tuple(details(said, f"{root}/causes/said/{i}") for i, said in enumerate(causes.said)),
        ),
    )


def height(feature: Feature, here: str) -> Sentence:
    """How high it is without the gate, or, where that isn't sure, as the gate shows it: ``3.1 ± 0.4 dB``."""
    size, spread = abs(feature.gain_db), feature.gain_u_db
    if spread <= LEAST_SURE * size:
        decimals = decimals_for(max(spread, 0.05))
        return say(
            Number(number_text(size, decimals), feature.gain_db, f"{here}/gain_db"),
            " ± ",
            Number(value_text(spread, "dB", decimals), spread, f"{here}/gain_u_db"),
        )
    top = max(range(len(feature.places)), key=lambda i: abs(feature.places[i].seen_db))
    seen = feature.places[top].seen_db
    return say("some ", Number(value_text(abs(seen), "dB", 0), seen, f"{here}/places/{top}/seen_db"))


def _note(feature: Feature, here: str) -> Sentence:
    """Its width, where the gate tells it, and how it was found."""
    if feature.q is not None:
        width = say("Q ", quantity(feature.q, "", f"{here}/q", 1))
    else:
        assert feature.q_at_least is not None
        width = say("Q at least ", quantity(feature.q_at_least, "", f"{here}/q_at_least", 0))
    return width + say(" · where it stands out most · fitted through the gate, direction by direction")
