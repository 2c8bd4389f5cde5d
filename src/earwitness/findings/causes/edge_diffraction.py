"""A box's edges: the rim sends out what reaches it, later and turned over, by a way that direction changes.

Prediction: a source on a rectangular face against the same one on a ball as large (which has the step from
half to full space, but no rim). One half-width holds for both orbits, left and right. A body that a ball fits
better has no edges.

What edges do is what was heard over the scene without them: a scene's rim does some quarter of a decibel less
than a true one, and what was heard has all of it (tuning seeds 20 600 to 20 639: it errs by 0.2 dB, the
scene's own by 0.3 dB beside that).
"""

from __future__ import annotations

from typing import Final

from earwitness.findings.causes.form import Judged, effect_db, parameter
from earwitness.findings.causes.scene import Scene, Without
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

CAUSE: Final = Cause.EDGE_DIFFRACTION


def judge(scene: Scene, feature: Feature) -> Judged:
    """By the fitted face; nothing on a ball."""
    told = scene.other_body is None
    if scene.geometry.body == "ball":
        why = "a ball has no edges" if told else "a body without edges fits all directions better"
        return Judged(CAUSE, 0.0, against=(why,))
    found = effect_db(scene, feature, scene.pressure(Without(edges=True)), scene.heard.pressure)
    names = ("edge_to_side_m", "edge_up_m", "edge_down_m")
    return Judged(
        CAUSE,
        found,
        tuple(
            parameter(name, value, float(spread))
            for name, value, spread in zip(names, scene.geometry.size_m, scene.uncertainty[-3:], strict=True)
        ),
        ("the case states a box",) if told else ("one face fits both orbits better than a ball",),
    )
