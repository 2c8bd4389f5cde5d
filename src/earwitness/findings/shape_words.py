"""Shelves and tilts in words: from where, by how much, how sure; and which wide peaks they explain."""

from __future__ import annotations

import numpy as np

from earwitness.derive.formatting import decimals_for, number_text, value_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.causes.voicing import REFERENCE_HZ
from earwitness.findings.feature_places import where
from earwitness.findings.shapes import level_db
from earwitness.records.features import Feature
from earwitness.records.sentences import Number, Sentence, say

#: A peak or dip as wide as this may be a shelf's shoulder: where a shelf explains this part of it.
WIDE_OCTAVES, EXPLAINED = 1.0, 0.5


def statement(feature: Feature, here: str) -> Sentence:
    """As in ``From 1.8 kHz up it lies 3.8 ± 0.5 dB above what is lower, on axis and up to 30° above``."""
    size = _height(feature, here)
    if feature.kind == "tilt":
        assert feature.band_hz is not None
        way = "rises" if feature.gain_db > 0.0 else "falls"
        first, last = (frequency(edge, f"{here}/band_hz/{i}", 2) for i, edge in enumerate(feature.band_hz))
        return say("From ", first, " to ", last, f" it {way} by ", size, ", ", where(feature, here), ".")
    up = feature.frequency_hz >= REFERENCE_HZ
    over = (feature.gain_db > 0.0) is up
    corner = frequency(feature.frequency_hz, f"{here}/frequency_hz", 2)
    return say(
        "From ",
        corner,
        f" {'up' if up else 'down'} it lies ",
        size,
        f" {'above' if over else 'below'} what is {'lower' if up else 'higher'}, ",
        where(feature, here),
        ".",
    )


def note(feature: Feature, here: str) -> Sentence:
    """How wide the change is, how sure its middle, and how it was found."""
    how = "what all directions share, without edges, beaming and ringing"
    if feature.kind == "tilt":
        return say(how)
    spread, scale, unit = feature.frequency_u_hz, 1.0, "Hz"
    if feature.frequency_hz >= REFERENCE_HZ:
        scale, unit = 1e-3, "kHz"
    sure = Number(
        value_text(spread * scale, unit, decimals_for(max(spread, 1.0) * scale)),
        spread,
        f"{here}/frequency_u_hz",
    )
    width = quantity(feature.top.width_octaves, "octaves", f"{here}/places/0/width_octaves")
    return say("its middle ± ", sure, " · goes over within ", width, f" · {how}")


def _height(feature: Feature, here: str) -> Sentence:
    decimals = decimals_for(max(feature.gain_u_db, 0.05))
    return say(
        Number(number_text(abs(feature.gain_db), decimals), feature.gain_db, f"{here}/gain_db"),
        " ± ",
        Number(value_text(feature.gain_u_db, "dB", decimals), feature.gain_u_db, f"{here}/gain_u_db"),
    )


def explains(shape: Feature, feature: Feature) -> bool:
    """Whether a wide peak or dip is a shelf's shoulder: how far the shelf itself stands out of its chord."""
    top = feature.top
    if feature.broad or top.width_octaves < WIDE_OCTAVES:
        return False
    arm = 2.0**top.width_octaves
    low, here, high = level_db(shape, top.frequency_hz * np.array([1.0 / arm, 1.0, arm]))
    out = float(here - 0.5 * (low + high))
    return feature.sign * out >= EXPLAINED * abs(top.seen_db)
