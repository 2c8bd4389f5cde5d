"""Every module of causes, once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from earwitness.findings.causes import (
    artefact,
    crossover_misalignment,
    driver_directivity,
    edge_diffraction,
    resonance,
    spaced_sources,
    voicing,
)
from earwitness.findings.causes.form import Judged
from earwitness.findings.causes.scene import Scene
from earwitness.records.features import Feature

Judge = Callable[[Feature], Judged]


def _resonance(scene: Scene, gate_s: float) -> Judge:
    found = resonance.ringings(scene, gate_s)
    return lambda feature: resonance.judge(scene, feature, found)


def _voicing(scene: Scene, _: float) -> Judge:
    shape = voicing.shape_db(scene)
    return lambda feature: voicing.judge(scene, feature, shape)


def _artefact(scene: Scene, gate_s: float) -> Judge:
    found = artefact.reflection(scene, gate_s)
    return lambda feature: artefact.judge(scene, feature, found)


def _misalignment(scene: Scene, _: float) -> Judge:
    found = crossover_misalignment.step(scene)
    return lambda feature: crossover_misalignment.judge(scene, feature, found)


#: From a scene and the gate's length to a judge of features. A cause is added here, and nowhere else.
MODULES: Final[tuple[Callable[[Scene, float], Judge], ...]] = (
    _resonance,
    lambda scene, _: lambda feature: spaced_sources.judge(scene, feature),
    lambda scene, _: lambda feature: edge_diffraction.judge(scene, feature),
    lambda scene, _: lambda feature: driver_directivity.judge(scene, feature),
    _misalignment,
    _voicing,
    _artefact,
)


def judges(scene: Scene, gate_s: float) -> tuple[Judge, ...]:
    """One a module."""
    return tuple(module(scene, gate_s) for module in MODULES)
