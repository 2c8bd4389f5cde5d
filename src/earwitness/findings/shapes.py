"""Shelves and tilts as features: what all drivers send, told once with all directions to the front as places.

A response falls and rises by edges, spacing and beaming too. What is left of it once those are taken out is
the same in all directions (`causes.voicing.shape`), and of it every shape was weighed. A shelf (one of a
driver's level counts as a shelf) or a tilt is a feature where it is likely, as high as `LEAST_DB` and surely
so; corner, height and width are means over everything of its kind that was weighed, their standard
uncertainties what these differ by and each is unsure by. A broad hump or hollow is a peak or a dip already.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.registry import ground_of, shape_of
from earwitness.findings.causes.scene import Scene
from earwitness.findings.causes.voicing import CAUSE, SAID, Shape
from earwitness.findings.shapes_fit import KINDS, STEP_OCTAVES, Kind
from earwitness.records.causes import CauseSaid, FeatureCauses
from earwitness.records.features import Feature, FeatureKind, FeaturePlace

Float64s = npt.NDArray[np.float64]

#: A kind is told where it is this likely; from this height on, and where that is so many times its doubt.
LIKELY: Final = 0.65
LEAST_DB, SURE = 1.5, 2.5
#: What is weighed counts as one of these.
TOLD: Final[tuple[tuple[FeatureKind, tuple[Kind, ...]], ...]] = (
    ("shelf", ("shelf", "step")),
    ("tilt", ("tilt",)),
)
#: No corner is surer than the corners that are tried lie apart: alike likely over a step, octaves.
CORNER_U_OCTAVES: Final = STEP_OCTAVES / float(np.sqrt(12.0))
#: Of a logistic step, the octaves from a tenth to nine tenths: 2 ln 9 of its own (closed form).
LOGISTIC: Final = 2.0 * float(np.log(9.0))


def find_shapes(scene: Scene | None, gate_s: float | None) -> tuple[tuple[Feature, FeatureCauses], ...]:
    """The shelf or tilt of a fitted scene with its cause; none without one that has phase and a gate."""
    if scene is None or gate_s is None or not scene.heard.has_phase:
        return ()
    shape = shape_of(ground_of(scene, gate_s))
    found = (_told(scene, shape, kind, of) for kind, of in TOLD)
    return tuple(one for one in found if one is not None)


def _told(
    scene: Scene, shape: Shape, kind: FeatureKind, of: Sequence[Kind]
) -> tuple[Feature, FeatureCauses] | None:
    weighed, shapes = shape.weighed, shape.weighed.candidates
    these = np.isin(shapes.kind, [KINDS.index(each) for each in of])
    likely = float(weighed.probability[these].sum())
    if likely < LIKELY:
        return None
    share = weighed.probability[these] / likely
    height, height_u = _mean(share, weighed.height_db[these], weighed.height_u_db[these])
    if abs(height) < max(LEAST_DB, SURE * height_u):
        return None
    octave, octave_u = _mean(share, shapes.octave[these], np.full(share.shape, CORNER_U_OCTAVES))
    corner = 2.0**octave
    width = float(share @ shapes.width_octaves[these])
    places = tuple(
        FeaturePlace(each, corner, height, width, corner * np.log(2.0) * octave_u, height_u, height)
        for each in sorted(scene.heard.directions)
    )
    feature = Feature(
        kind=kind,
        frequency_hz=corner,
        frequency_u_hz=float(corner * np.log(2.0) * octave_u),
        gain_db=height,
        gain_u_db=height_u,
        q=None,
        q_at_least=None,
        places=places,
        band_hz=(float(scene.heard.frequency_hz[0]), float(scene.heard.frequency_hz[-1])),
    )
    likeliest = max(of, key=weighed.of)
    said = CauseSaid(CAUSE, min(1.0 - weighed.none, 0.99), abs(height), (), (SAID[likeliest],))
    return feature, FeatureCauses((said,), 0.0)


def _mean(share: Float64s, values: Float64s, each_u: Float64s | None = None) -> tuple[float, float]:
    """A weighted mean, and its standard uncertainty from what the values differ by and are each unsure by."""
    mean = float(share @ values)
    spread = (values - mean) ** 2 + (0.0 if each_u is None else each_u**2)
    return mean, float(np.sqrt(share @ spread))


def level_db(feature: Feature, frequency_hz: npt.NDArray[np.floating]) -> Float64s:
    """What a shelf or a tilt adds, dB (F,), 0 far below it: a logistic step over its width."""
    octaves = (np.log2(frequency_hz) - np.log2(feature.frequency_hz)) / feature.top.width_octaves
    if feature.kind == "tilt":
        return np.asarray(feature.gain_db * np.clip(octaves + 0.5, 0.0, 1.0))
    return np.asarray(feature.gain_db / (1.0 + np.exp(np.clip(-LOGISTIC * octaves, -60.0, 60.0))))
