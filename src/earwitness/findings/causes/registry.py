"""Every module of causes, once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from earwitness.findings.causes import (
    artefact,
    crossover_misalignment,
    driver_directivity,
    edge_diffraction,
    port_or_cavity,
    resonance,
    spaced_sources,
    voicing,
)
from earwitness.findings.causes.form import Judged
from earwitness.findings.causes.resonance import Ringing
from earwitness.findings.causes.scene import Scene
from earwitness.records.features import Feature

Judge = Callable[[Feature], Judged]


@dataclass(frozen=True, slots=True)
class Ground:
    """The scene, the gate's length, and what rings in it, which is sought once for all modules."""

    scene: Scene
    gate_s: float
    rings: list[Ringing]


@lru_cache(maxsize=2)
def ground_of(scene: Scene, gate_s: float) -> Ground:
    """Made once for a scene."""
    return Ground(scene, gate_s, resonance.ringings(scene, gate_s))


def shape_of(ground: Ground) -> voicing.Shape:
    """The broad shape that all directions share."""
    return voicing.shape(ground.scene, ground.rings, ground.gate_s)


def _resonance(ground: Ground) -> Judge:
    return lambda feature: resonance.judge(ground.scene, feature, ground.rings)


def _voicing(ground: Ground) -> Judge:
    shape = shape_of(ground)
    return lambda feature: voicing.judge(ground.scene, feature, shape)


def _artefact(ground: Ground) -> Judge:
    found = artefact.reflection(ground.scene, ground.gate_s)
    return lambda feature: artefact.judge(ground.scene, feature, found)


def _misalignment(ground: Ground) -> Judge:
    found = crossover_misalignment.step(ground.scene)
    return lambda feature: crossover_misalignment.judge(ground.scene, feature, found)


def _port(ground: Ground) -> Judge:
    heard = ground.scene.heard
    seek = port_or_cavity.seeker(heard, ground.gate_s, ground.scene.geometry.points_m())
    return lambda feature: port_or_cavity.judge(heard, feature, seek(feature))


#: From the ground to a judge of features. A cause is added here, and nowhere else.
MODULES: Final[tuple[Callable[[Ground], Judge], ...]] = (
    _resonance,
    lambda ground: lambda feature: spaced_sources.judge(ground.scene, feature),
    lambda ground: lambda feature: edge_diffraction.judge(ground.scene, feature),
    lambda ground: lambda feature: driver_directivity.judge(ground.scene, feature),
    _misalignment,
    _voicing,
    _artefact,
    _port,
)


def judges(scene: Scene, gate_s: float) -> tuple[Judge, ...]:
    """One a module."""
    ground = ground_of(scene, gate_s)
    return tuple(module(ground) for module in MODULES)
