"""Drivers apart: the ways to the listener differ by direction.

Prediction: with all at the mean of their places the interference over the angle goes, and nothing else.
In the plane across the line between them it does nothing (a far listener). The spacing that is told is that
of the two that are heard most.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.findings.causes.form import Judged, effect_db, nearest, parameter
from earwitness.findings.causes.scene import Scene, Without
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

CAUSE: Final = Cause.SPACED_SOURCES
#: Both are heard where the weaker has this share of the power.
HEARD: Final = 0.05


def judge(scene: Scene, feature: Feature) -> Judged:
    """By the fitted heights."""
    found = effect_db(scene, feature, scene.pressure(Without(spacing=True)))
    points = scene.geometry.points_m()
    if len(points) < 2:
        return Judged(CAUSE, 0.0, against=("one driver alone is heard",))
    shares = scene.shares[:, nearest(scene.heard.frequency_hz, feature.frequency_hz)]
    pair = np.argsort(shares)[-2:]
    spacing = float(np.linalg.norm(points[pair[1]] - points[pair[0]]))
    scale = 1.0 if scene.geometry.body == "box" else scene.geometry.size_m[0]
    spread = scale * float(np.hypot(*scene.uncertainty[pair]))
    both = shares[pair[0]] >= HEARD
    return Judged(
        CAUSE,
        found,
        (parameter("spacing_m", spacing, spread),),
        ("both drivers are heard at this frequency",) if both else (),
        () if both else ("one driver alone is heard at this frequency",),
    )
