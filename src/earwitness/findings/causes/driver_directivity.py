"""Beaming: a disc sends less to the side, by 2J₁(x)/x with x = ka sin α, on both orbits alike."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.findings.causes.form import Judged, effect_db, nearest, parameter
from earwitness.findings.causes.scene import Scene, Without
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

CAUSE: Final = Cause.DRIVER_DIRECTIVITY


def judge(scene: Scene, feature: Feature) -> Judged:
    """By the fitted discs; the parameter is that of the driver which is heard most."""
    found = effect_db(scene, feature, scene.pressure(Without(beaming=True)))
    louder = int(np.argmax(scene.shares[:, nearest(scene.heard.frequency_hz, feature.frequency_hz)]))
    radius = scene.geometry.disc_m[louder]
    spread = float(scene.uncertainty[len(scene.geometry.place) + louder])
    return Judged(CAUSE, found, (parameter("disc_radius_m", radius, spread),))
