"""The measuring rig: a turntable in front of a microphone, in a room with a hard floor and a ceiling.

Everything is said in the loudspeaker's own coordinates (origin at the reference point, x forward, y to its
left, z up), in which the loudspeaker stands still and the room turns round it.

- The microphone keeps its place in the room, `distance_m` from the reference point while the loudspeaker
  faces it. The axis of rotation runs vertically through a point `rotation_behind_m` behind the reference
  point. Turned by θ, the loudspeaker sees the microphone at A + (d + b)(cos θ, sin θ, 0), with A = (−b, 0,
  0): at an angle from the reference point that isn't quite θ, at a distance that isn't quite d.
- For the vertical orbit the loudspeaker lies on its right side on the same turntable, so that its left points
  at the ceiling. The turntable then moves the microphone through the loudspeaker's vertical plane, at A + (d
  + b)(cos θ, 0, sin θ), and the room's vertical is the loudspeaker's y.
- A rigid plane is an image: the sound that reaches the microphone by way of the floor is the sound that the
  loudspeaker alone would send to the microphone's mirror image, times the floor's reflection coefficient. So
  the loudspeaker is evaluated in the true direction and at the true distance of that image, for each angle
  anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from earwitness.virtual.arrays import Complexes, Floats

Orbit = Literal["horizontal", "vertical"]


@dataclass(frozen=True, slots=True)
class Room:
    """A floor, and a ceiling where there is one; reflection coefficients of sound pressure.

    `height_m` is how high the reference point stands; `ambient_pa` the RMS of the background noise, which has
    equal power in every octave.
    """

    height_m: float
    ambient_pa: float = 0.0
    floor_reflection: float = 0.0
    ceiling_m: float | None = None
    ceiling_reflection: float = 0.0

    def images(self, points: Floats, upward: Floats) -> list[tuple[float, Floats]]:
        """Where the loudspeaker sees the microphone, directly and in each mirror.

        Parameters
        ----------
        points
            Shape (D, 3): the microphone, metres from the reference point.
        upward
            Shape (3,): the room's vertical in the loudspeaker's coordinates.

        Returns
        -------
        Pairs of reflection coefficient and points (D, 3); the first is the microphone itself.
        """
        paths = [(1.0, points)]
        height = (points @ upward)[:, None]
        if self.floor_reflection:
            floor = -self.height_m
            paths.append((self.floor_reflection, points + 2.0 * (floor - height) * upward))
        if self.ceiling_m is not None and self.ceiling_reflection:
            ceiling = self.ceiling_m - self.height_m
            paths.append((self.ceiling_reflection, points + 2.0 * (ceiling - height) * upward))
        return paths


@dataclass(frozen=True, slots=True)
class Turntable:
    """Where the microphone stands, as the loudspeaker sees it."""

    distance_m: float
    rotation_behind_m: float

    def microphone(self, orbit: Orbit, angles_deg: Floats) -> Floats:
        """Points (D, 3), metres from the reference point and as high as it, for orbit angles (D,)."""
        angle = np.radians(angles_deg)
        arm = self.distance_m + self.rotation_behind_m
        along = arm * np.cos(angle) - self.rotation_behind_m
        across, aside = arm * np.sin(angle), np.zeros_like(angle)
        columns = (along, across, aside) if orbit == "horizontal" else (along, aside, across)
        return np.stack(columns, axis=-1)

    @staticmethod
    def upward(orbit: Orbit) -> Floats:
        """The room's vertical in the loudspeaker's coordinates, shape (3,)."""
        return np.array([0.0, 0.0, 1.0] if orbit == "horizontal" else [0.0, 1.0, 0.0])


@dataclass(frozen=True, slots=True)
class Microphone:
    """A pressure microphone: a membrane of the second order with a bass limit of the first, and its noise.

    `noise_pa` is the RMS of the white noise between 0 Hz and half the sample rate.
    """

    resonance_hz: float
    q: float
    bass_limit_hz: float
    noise_pa: float

    def transfer(self, frequencies: Floats) -> Complexes:
        """What it delivers for each pascal, 1 at 1 kHz in magnitude; shape (F,), f > 0."""
        reference = np.abs(self._shape(np.array([1000.0])))
        return np.asarray(self._shape(frequencies) / reference)

    def level_db(self, frequencies: Floats) -> Floats:
        """The level that a calibration laboratory would print, dB re 1 kHz; shape (F,)."""
        return np.asarray(20.0 * np.log10(np.abs(self.transfer(frequencies))))

    def _shape(self, frequencies: Floats) -> Complexes:
        membrane = 1j * frequencies / self.resonance_hz
        bass = 1j * frequencies / self.bass_limit_hz
        return np.asarray(bass / (1.0 + bass) / (1.0 + membrane / self.q + membrane**2))
