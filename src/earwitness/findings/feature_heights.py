"""How high a feature is, in words: first where the listener sits, then where it stands out most."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.formatting import decimals_for, number_text, value_text
from earwitness.derive.numerals import frequency
from earwitness.findings.feature_places import EVERYWHERE, side_of, where
from earwitness.records.features import Feature, FeatureKind, FeaturePlace
from earwitness.records.sentences import Number, Sentence, say

#: What the page calls each kind.
KINDS: Final[Mapping[FeatureKind, str]] = {
    "peak": "A peak",
    "dip": "A dip",
    "shelf": "A shelf",
    "tilt": "A tilt",
}
#: A height that is less sure than this part of it is told as it is seen through the gate.
LEAST_SURE: Final = 0.35
#: No height is told closer than this, dB.
LEAST_SPREAD_DB: Final = 0.05
#: Two heights of one feature are told apart where they differ by so much, dB, and by this part of the lesser.
APART_DB, APART_PART = 1.0, 0.5
_MOST: Final[Mapping[FeatureKind, str]] = {"peak": "highest", "dip": "deepest"}


def leading(feature: Feature) -> FeaturePlace:
    """The place whose height a statement leads with: on axis where it is much less, else the greatest."""
    top, axis = feature.top, feature.on_axis
    return axis if axis is not None and _apart(axis, top) else top


def height_statement(feature: Feature, here: str) -> Sentence:
    """In words: ``A dip of 3.3 ± 1.0 dB at 1.61 kHz, on axis …; deepest 40° above the axis, by 31 ± 3 dB``.

    Where it is alike all over, its greatest height alone; where it isn't on axis and unlike, "up to" that.
    """
    top, shown = feature.top, leading(feature)
    unlike = any(_apart(place, top) for place in feature.places)
    at = f"{here}/places/{feature.places.index(shown)}"
    tone = frequency(shown.frequency_hz, f"{at}/frequency_hz")
    up_to = "up to " if feature.on_axis is None and unlike else ""
    told = say(f"{KINDS[feature.kind]} of {up_to}", height(shown, at), " at ", tone)
    places = where(feature, here)
    told += say(" on axis, and ", places) if places == EVERYWHERE and shown is not top else say(", ", places)
    if shown is top:
        return told + say(".")
    index = feature.places.index(top)
    most = height(top, f"{here}/places/{index}")
    return told + say(f"; {_MOST[feature.kind]} ", side_of(feature, index, here), ", by ", most, ".")


def _apart(less: FeaturePlace, more: FeaturePlace) -> bool:
    """Whether one height is surely and by much less than another."""
    one, other = abs(less.gain_db), abs(more.gain_db)
    unsure = float(np.hypot(less.gain_u_db, more.gain_u_db))
    return other - one > max(APART_DB, APART_PART * one, unsure)


def height(place: FeaturePlace, here: str) -> Sentence:
    """Without the gate, or, where that isn't sure, as the gate shows it: ``3.1 ± 0.4 dB``, ``some 3 dB``."""
    size, spread = abs(place.gain_db), place.gain_u_db
    if spread <= LEAST_SURE * size:
        decimals = decimals_for(max(spread, LEAST_SPREAD_DB))
        return say(
            Number(number_text(size, decimals), place.gain_db, f"{here}/gain_db"),
            " ± ",
            Number(value_text(spread, "dB", decimals), spread, f"{here}/gain_u_db"),
        )
    return say("some ", Number(value_text(abs(place.seen_db), "dB", 0), place.seen_db, f"{here}/seen_db"))
