"""Causes of features: the scene once, every module on every feature, and how probable each cause is then.

What a module finds counts by its margin: how far its effect lies above both a decibel and half of the
largest effect of any module. A logistic of the margin (`weights`) gives the odds that the cause is one of the
feature's, on top of prior odds by octave band. Causes coexist, so that probabilities needn't add up to 1.
Where no scene can be fitted, or the fitted one doesn't explain the data, it can't be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics.gating import VALID_FROM_GATES
from earwitness.findings.causes.form import Judged, nearest
from earwitness.findings.causes.registry import judges
from earwitness.findings.causes.scene import Scene, fit_scene, hear
from earwitness.findings.causes.stated import Stated
from earwitness.findings.causes.tracks import tracks, witnessed
from earwitness.findings.causes.weights import PRIOR, PRIOR_WEIGHT, WEIGHTS, band
from earwitness.records.causes import OF_RESPONSE, Cause, CauseSaid, FeatureCauses
from earwitness.records.facts import Unit
from earwitness.records.features import Feature
from earwitness.records.responses import Responses

#: An effect counts from here on, and from this part of the largest.
LEAST_DB, LEAST_PART = 1.0, 0.5
#: Margins beyond this say no more.
MOST_MARGIN_DB: Final = 3.0
#: Misfit of the scene about the feature: from the first on doubt grows, at the second nothing can be told.
DOUBT, HOPELESS = 0.25, 0.6
#: What levels alone tell too seldom: their probability is the prior where phase is lost.
NEEDS_PHASE: Final = frozenset(
    {Cause.CROSSOVER_MISALIGNMENT, Cause.VOICING, Cause.PORT_OR_CAVITY, Cause.ARTEFACT}
)
#: About the feature: points to either side.
ABOUT: Final = 16


def causes_of(
    responses: Responses, features: Sequence[Feature], speed_m_s: float, unit: Unit | None = None
) -> tuple[FeatureCauses, ...]:
    """Of each feature, in their order. A scene rests on the ways to the microphone (`microphone_m`)."""
    return causes_in(scene_of(responses, speed_m_s, unit), responses, features)


def scene_of(responses: Responses, speed_m_s: float, unit: Unit | None = None) -> Scene | None:
    """The scene, fitted from what the case states of the unit; None where none can be fitted.

    Levels alone bear a scene only where radiators are stated.
    """
    heard, stated = hear(responses, speed_m_s), None if unit is None else Stated.of(unit)
    if heard is None or (gate_of(responses) is None if heard.has_phase else stated is None):
        return None
    return fit_scene(heard, stated)


def gate_of(responses: Responses) -> float | None:
    """The shortest gate, s; None where nothing was gated."""
    gates = responses.gate_s[responses.gate_s > 0.0]
    return float(gates.min()) if gates.size else None


def causes_in(
    scene: Scene | None, responses: Responses, features: Sequence[Feature]
) -> tuple[FeatureCauses, ...]:
    """Of each feature, in their order, from a scene that is fitted already.

    Levels without a gate of their own are taken for gated as long as their lowest valid frequency demands.
    """
    gate_s = gate_of(responses)
    if scene is None:
        return tuple(_not_told(each) for each in features)
    return judged(
        scene, VALID_FROM_GATES / scene.heard.frequency_hz[0] if gate_s is None else gate_s, features
    )


def judged(scene: Scene, gate_s: float, features: Sequence[Feature]) -> tuple[FeatureCauses, ...]:
    """The same from a fitted scene."""
    modules = judges(scene, gate_s)
    told = [
        witnessed([judge(feature) for judge in modules], tracks(feature, scene.heard.speed_m_s))
        for feature in features
    ]
    if not scene.heard.has_phase:
        told = [[one for one in each if one.cause not in NEEDS_PHASE] for each in told]
    return tuple(weighed(scene, feature, each) for feature, each in zip(features, told, strict=True))


def weighed(scene: Scene, feature: Feature, found: Sequence[Judged]) -> FeatureCauses:
    """Probabilities from what all modules found."""
    margin = margins([each.effect_db for each in found])
    said = [
        CauseSaid(
            each.cause,
            probability(each.cause, feature.frequency_hz, float(m)),
            each.effect_db,
            each.parameters,
            each.evidence,
            each.against,
        )
        for each, m in zip(found, margin, strict=True)
    ]
    fitted = {each.cause for each in found}
    no_phase = () if scene.heard.has_phase else ("levels without phase don't tell it",)
    said += [
        CauseSaid(
            cause,
            prior(cause, feature.frequency_hz),
            None,
            against=no_phase if cause in NEEDS_PHASE else (),
        )
        for cause in OF_RESPONSE
        if cause not in fitted
    ]
    at = nearest(scene.heard.frequency_hz, feature.frequency_hz)
    misfit = float(np.median(scene.misfit[max(at - ABOUT, 0) : at + ABOUT + 1]))
    doubt = float(np.clip((misfit - DOUBT) / (HOPELESS - DOUBT), 0.0, 1.0))
    return FeatureCauses(
        tuple(sorted(said, key=lambda each: -each.probability)),
        doubt,
        "drivers on one body don't explain what is heard here" if doubt > 0.0 else "",
    )


def margins(effects_db: Sequence[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How far each effect lies above what counts, dB, within ±3."""
    effects = np.asarray(effects_db, dtype=np.float64)
    least = max(LEAST_DB, LEAST_PART * float(effects.max(initial=0.0)))
    return np.asarray(np.clip(effects - least, -MOST_MARGIN_DB, MOST_MARGIN_DB))


def prior(cause: Cause, frequency_hz: float) -> float:
    """How often the cause is there in the feature's octave band, before anything is looked at."""
    return PRIOR[cause][band(frequency_hz)]


def probability(cause: Cause, frequency_hz: float, margin_db: float) -> float:
    """By the logistic of the margin and the prior odds."""
    p = prior(cause, frequency_hz)
    constant, slope = WEIGHTS[cause]
    return float(1.0 / (1.0 + np.exp(-(constant + slope * margin_db + PRIOR_WEIGHT * np.log(p / (1.0 - p))))))


def _not_told(feature: Feature) -> FeatureCauses:
    said = [CauseSaid(cause, prior(cause, feature.frequency_hz), None) for cause in OF_RESPONSE]
    doubt = "responses with phase from enough directions on both orbits are needed"
    return FeatureCauses(tuple(sorted(said, key=lambda each: -each.probability)), 1.0, doubt)
