"""The form that all modules share: a mechanism taken out of the fitted scene, and what that does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.scene import Scene
from earwitness.findings.causes.weights import MODEL
from earwitness.records.causes import Cause, CauseParameter
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Half the width of a 95 % interval in standard uncertainties.
WIDE: Final = 1.96
LEAST: Final = 1e-12


@dataclass(frozen=True, slots=True)
class Judged:
    """What one module finds for one feature.

    `effect_db` is 20 lg|with / without the mechanism| in the mean over the feature's places, counted to the
    feature's sign.
    """

    cause: Cause
    effect_db: float
    parameters: tuple[CauseParameter, ...] = ()
    evidence: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


def effect_db(
    scene: Scene, feature: Feature, without: Complex128s, whole: Complex128s | None = None
) -> float:
    """Mean over the feature's places of what a scene has over one without (D, F), to the feature's sign.

    `whole` (D, F) stands in for what the scene has.
    """
    whole = scene.pressure() if whole is None else whole
    rows = {direction: row for row, direction in enumerate(scene.heard.directions)}
    found = []
    for place in feature.places:
        row = rows.get(place.direction.shared)
        if row is not None:
            at = nearest(scene.heard.frequency_hz, place.frequency_hz)
            ratio = abs(whole[row, at]) / max(abs(without[row, at]), LEAST)
            found.append(feature.sign * 20.0 * np.log10(max(ratio, LEAST)))
    return float(np.mean(found)) if found else 0.0


def nearest(frequency_hz: Float64s, wanted_hz: float) -> int:
    """Index of the nearest frequency."""
    return int(np.argmin(np.abs(np.log(frequency_hz / wanted_hz))))


def parameter(name: str, value: float, uncertainty: float) -> CauseParameter:
    """With its interval from a standard uncertainty of the fit and what such fits err by besides."""
    whole = float(np.hypot(uncertainty, MODEL.get(name, 0.0) * value))
    return CauseParameter(name, value, value - WIDE * whole, value + WIDE * whole)
