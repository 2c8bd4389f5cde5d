"""What takes that aren't there yet would show, with and without each mechanism, by the fitted scene.

Without a mechanism the scene has to explain what was measured by the rest. Spacing, edges and beaming are in
the patterns of the drivers: they are left out there, and both amplitudes follow anew by least squares at each
frequency. Ringing and a step between the ways are in what the drivers send: they are taken out there, and one
gain at each frequency, alike in all directions, may make up for that. What is left apart in directions that
weren't measured is what a take there can tell. A shape or a copy that all directions share leaves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes import crossover_misalignment, resonance
from earwitness.findings.causes.scene import Heard, Scene, Without, amplitudes, patterns
from earwitness.records.causes import Cause
from earwitness.records.features import Feature
from earwitness.records.takes import Direction, Orbit

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Indices = npt.NDArray[np.intp]

#: Points of the derived grid that err alike; the band about a feature is this part of its width at least.
ALIKE: Final = 6
LEAST_OCTAVES: Final = 1.0 / 6.0
#: The circle of the microphone is told by directions at least so far from the axis.
ASIDE_DEG: Final = 20.0
FLOOR: Final = 1e-9


@dataclass(frozen=True)
class Foretold:
    """A scene that is asked what it would show, and what is taken out of what its drivers send.

    `ringing` is all that was found to ring. `without_ringing` and `in_step` are amplitudes (S, F); None where
    nothing rings, or no step was found.
    """

    scene: Scene
    without_ringing: Complex128s | None
    in_step: Complex128s | None
    ringing: tuple[resonance.Ringing, ...] = ()

    @classmethod
    def of(cls, scene: Scene, gate_s: float) -> Foretold:
        """All that rings is taken out, and the upper driver set in step."""
        ringing = tuple(resonance.ringings(scene, gate_s))
        quiet = scene.amplitude.copy()
        for one in ringing:
            quiet[one.driver] = quiet[one.driver] - one.sound
        step = crossover_misalignment.step(scene)
        level = None
        if step is not None:
            level = scene.amplitude.copy()
            turn = np.exp(2j * np.pi * scene.heard.frequency_hz * step.late_s)
            # a driver that sounds higher than the late one is as late
            level[getattr(step, "driver", 1) :] *= turn * (-1.0 if step.turned else 1.0)
        return cls(scene, quiet if ringing else None, level, ringing)

    @property
    def shares(self) -> Float64s:
        """Of each driver in the power that all send, (S, F)."""
        power = np.abs(self.scene.amplitude) ** 2
        return np.asarray(power / np.maximum(power.sum(axis=0), FLOOR**2))

    def levels_db(self, at: Indices, removed: frozenset[Cause], directions: Sequence[Direction]) -> Float64s:
        """The level without some mechanisms in directions, at frequencies of the scene, (D, N)."""
        heard = self.scene.heard.at(at)
        wanted = replace(
            heard,
            directions=tuple(directions),
            microphone_m=positions_m(self.scene.heard, directions),
            pressure=np.zeros((len(directions), at.size), dtype=np.complex128),
        )
        out = Without(
            spacing=Cause.SPACED_SOURCES in removed,
            edges=Cause.EDGE_DIFFRACTION in removed,
            beaming=Cause.DRIVER_DIRECTIVITY in removed,
        )
        geometry = self.scene.geometry
        here, there = patterns(heard, geometry, out), patterns(wanted, geometry, out)
        sent = self._sent(removed)
        if sent is None:
            found, _ = amplitudes(heard, here)
        else:
            found = sent[:, at]
            mixed = np.einsum("sdf,sf->df", here, found)
            power = np.maximum(np.sum(np.abs(mixed) ** 2, axis=0), FLOOR**2)
            # where levels alone are known, they have the phase that the scene gives them
            known = heard.pressure if heard.has_phase else heard.pressure * np.exp(1j * np.angle(mixed))
            found = found * np.sum(mixed.conj() * known, axis=0) / power
        pressure = np.abs(np.einsum("sdf,sf->df", there, found))
        return np.asarray(20.0 * np.log10(np.maximum(pressure, FLOOR)))

    def ringing_driver(self, frequency_hz: float, otherwise: int) -> int:
        """The driver of what rings nearest to a frequency."""
        near = min(self.ringing, key=lambda one: abs(np.log(one.frequency_hz / frequency_hz)), default=None)
        return otherwise if near is None else near.driver

    def _sent(self, removed: frozenset[Cause]) -> Complex128s | None:
        """What drivers send without what rings and in step; None where neither is asked for."""
        sent: Complex128s | None = None
        if Cause.RESONANCE in removed and self.without_ringing is not None:
            sent = self.without_ringing
        if Cause.CROSSOVER_MISALIGNMENT in removed and self.in_step is not None:
            whole = self.scene.amplitude
            turn = self.in_step / np.where(whole == 0.0, 1.0, whole)
            sent = self.in_step if sent is None else sent * turn
        return sent


def positions_m(heard: Heard, directions: Sequence[Direction]) -> Float64s:
    """Where the microphone would stand, (D, 3), on the circle on which it stood before.

    The circle's middle lies behind the reference point where the loudspeaker turns about a point behind it.
    """
    angle = np.radians([d.angle_deg for d in heard.directions])
    axis = float(heard.microphone_m[int(np.argmin(np.abs(angle))), 0])
    far = np.abs(angle) >= np.radians(ASIDE_DEG)
    aside = heard.microphone_m[far, 1] + heard.microphone_m[far, 2]
    arm = float(np.median(aside / np.sin(angle[far])))
    wanted = np.radians([d.angle_deg for d in directions])
    upright = np.array([d.orbit is Orbit.VERTICAL for d in directions], dtype=bool)
    side = arm * np.sin(wanted)
    ahead = arm * np.cos(wanted) - (arm - axis)
    return np.column_stack([ahead, np.where(upright, 0.0, side), np.where(upright, side, 0.0)])


def about(frequency_hz: Float64s, feature: Feature) -> Indices:
    """Points about a feature that err independently: its width, and where its places lie."""
    places = np.array([place.frequency_hz for place in feature.places])
    half = 0.5 * max(feature.top.width_octaves, LEAST_OCTAVES)
    low, high = places.min() * 2.0**-half, places.max() * 2.0**half
    inside = np.flatnonzero((frequency_hz >= low) & (frequency_hz <= high))
    if not inside.size:
        inside = np.array([int(np.argmin(np.abs(np.log(frequency_hz / feature.frequency_hz))))])
    return np.asarray(inside[:: min(ALIKE, max(inside.size // 2, 1))], dtype=np.intp)
