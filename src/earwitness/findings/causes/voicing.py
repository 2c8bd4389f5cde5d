"""A broad shape that all directions share: a shelf, a hump, a tilt.

What both drivers send, added in step at one place on a smooth body, is free of spacing, edges, beaming and
misalignment. Its level over half an octave, less its median, is the shape; whose intention it is isn't said.
A loudspeaker that is meant to be straight is taken for granted.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.form import Judged
from earwitness.findings.causes.scene import Scene, Without
from earwitness.records.causes import Cause
from earwitness.records.features import Feature
from earwitness.records.grid import POINTS_PER_OCTAVE

Float64s = npt.NDArray[np.float64]

CAUSE: Final = Cause.VOICING
FLOOR: Final = 1e-15


def shape_db(scene: Scene) -> Float64s:
    """The level that all directions share, dB re its median, (F,)."""
    axis = min(range(len(scene.heard.directions)), key=lambda row: abs(scene.heard.directions[row].angle_deg))
    in_step = np.abs(scene.amplitude).astype(np.complex128)
    pressure = scene.pressure(Without(spacing=True, edges=True, beaming=True), in_step)[axis]
    level = 20.0 * np.log10(np.maximum(np.abs(pressure), FLOOR))
    reach = POINTS_PER_OCTAVE // 2
    weights = np.hanning(2 * reach + 1)
    smooth = np.convolve(np.pad(level, reach, mode="edge"), weights / weights.sum(), "valid")
    return np.asarray(smooth - np.median(smooth))


def judge(scene: Scene, feature: Feature, shape: Float64s) -> Judged:
    """By the shape at the feature's places."""
    octaves = np.log2(scene.heard.frequency_hz)
    found = [float(np.interp(np.log2(place.frequency_hz), octaves, shape)) for place in feature.places]
    effect = feature.sign * float(np.mean(found))
    return Judged(CAUSE, effect, (), ("all directions share it, and it is broad",) if effect >= 1.0 else ())
