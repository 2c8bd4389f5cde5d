"""The workshop: everything between the amplifier's input and the recorder, as impulse responses.

The loudspeaker's radiation is smooth over frequency once its time of flight is taken out, so it is computed
on a coarse grid and interpolated by a cubic spline onto the bins of an impulse response; what rings long (the
drivers in their box) is computed on those bins themselves.

Sound reaches the microphone straight, by the room's surfaces (`room`), and by what scatters it (`scatterer`).
Each path is the loudspeaker's pressure at a point of its own, times a gain, after its time of flight.

A rigid body in air of another temperature radiates as in this one at a frequency that is shifted as the
speed of sound is: p(f) = (ρ'c'/ρc) · p₀(f·c/c'), with ρ and c of the air that p₀ was computed in. So a drift
of the temperature from take to take costs nothing. Drivers and boxes keep the day's air: the spring ρc² of an
enclosed volume depends on the pressure alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.chain import Chain
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.microphone import Microphone
from earwitness.virtual.noise import Noise
from earwitness.virtual.room import Room
from earwitness.virtual.scatterer import Scatterer, scattered
from earwitness.virtual.turntable import View

#: Spacing of the coarse grid in hertz: a hundredth of a turn for a path 0.2 m longer than the straight one.
COARSE_HZ = 20.0
#: Points at which the loudspeaker is heard in one go: 72 takes with six images each are less.
MOST_POINTS = 1500


@dataclass(frozen=True, slots=True)
class Path:
    """One way of the sound.

    `points` (D, 3) are where the loudspeaker is heard, in its own coordinates; `gain` (D or 1, F) what
    becomes of it, on the coarse grid; `beyond_m` (D,) how far it travels after that.
    """

    points: Floats
    gain: Complexes
    beyond_m: Floats

    def of(self, takes: npt.NDArray[np.integer]) -> Path:
        """The same for some of the takes."""
        gain = self.gain if len(self.gain) == 1 else self.gain[takes]
        return Path(self.points[takes], gain, self.beyond_m[takes])


@dataclass(frozen=True, slots=True)
class Workshop:
    """A loudspeaker, a room with what stands in it, a microphone, electronics, and the day's air."""

    loudspeaker: Loudspeaker
    room: Room
    microphone: Microphone
    chain: Chain
    air: Air
    scatterers: tuple[Scatterer, ...] = ()

    @property
    def noise(self) -> Noise:
        """What a recording holds besides: of the room, the microphone and the electronics."""
        full_scale = self.chain.full_scale_pa
        return Noise(
            self.microphone.noise_pa / full_scale,
            self.room.ambient_pa / full_scale,
            tuple(level / full_scale for level in self.chain.hum_pa),
            self.chain.mains_hz,
        )

    def impulse_responses(self, view: View, temperatures_c: Floats | None = None) -> Floats:
        """Recorded impulse responses, free of noise.

        Parameters
        ----------
        view
            How the loudspeaker sees the room in each of D takes.
        temperatures_c
            Shape (D,): the air in each; the day's where None.

        Returns
        -------
        Shape (D, response_samples), digital full scale for each volt that the amplifier gives without a load.
        """
        bins = self.chain.bins()
        sources = self.loudspeaker.volume_velocities(bins, self.air) * (2j * np.pi * bins)
        sources *= self.chain.amplifier(self.loudspeaker, bins, self.air)
        sources *= self.microphone.transfer(bins) * self.chain.converter(bins) / self.chain.full_scale_pa
        spectra = np.empty((len(view.axes), len(bins)), dtype=np.complex128)
        for take, arrived in self._arriving(view, bins, temperatures_c):
            spectra[take] = np.sum(sources * arrived, axis=0)
        return self.chain.impulse_responses(spectra)

    def radiated_responses(self, view: View, temperatures_c: Floats | None = None) -> Floats:
        """The same for each radiator's volume velocity by itself, whatever moves it.

        Returns
        -------
        Shape (D, C, response_samples), digital full scale for each m³/s.
        """
        bins = self.chain.bins()
        heard = 2j * np.pi * bins * self.microphone.transfer(bins)
        heard *= self.chain.converter(bins) / self.chain.full_scale_pa
        arriving = self._arriving(view, bins, temperatures_c)
        return np.stack([self.chain.impulse_responses(heard * arrived) for _, arrived in arriving])

    def _arriving(
        self, view: View, bins: Floats, temperatures_c: Floats | None
    ) -> Iterator[tuple[int, Complexes]]:
        """Takes in order, with what arrives for each radiator's volume acceleration, (C, B)."""
        airs = self._airs(temperatures_c, len(view.axes))
        highest = bins[-1] * max(self.air.speed / air.speed for air in airs)
        coarse = np.concatenate([[1.0], np.arange(COARSE_HZ, highest + COARSE_HZ, COARSE_HZ)])
        paths = self.paths(view, coarse)
        goes = int(np.ceil(len(paths) * len(airs) / MOST_POINTS))
        for takes in np.array_split(np.arange(len(airs)), goes):
            radiation, flight = self._radiation([path.of(takes) for path in paths], coarse)
            for place, take in enumerate(takes):
                here = radiation[:, :, place], flight[:, place]
                yield int(take), self._arrived(bins, coarse, *here, airs[take])

    def paths(self, view: View, coarse: Floats) -> list[Path]:
        """Straight, by surfaces, by scatterers; `coarse` (F,) is the grid of the gains."""
        count = len(view.axes)
        nothing = np.zeros(count)
        found = [
            Path(view.seen(image.places), image.gain(coarse)[None], nothing)
            for image in self.room.images(view.microphone)
        ]
        microphone = found[0].points
        for ball in self.scatterers:
            place = np.array(ball.place_m)
            centre = view.carried(place) if ball.turns else view.seen(place)
            onward = microphone - centre
            beyond = np.linalg.norm(onward, axis=1)
            cosine = np.sum(centre * onward, axis=1) / (np.linalg.norm(centre, axis=1) * beyond)
            amplitude = scattered(ball.radius_m, cosine, 2.0 * np.pi * coarse / self.air.speed)
            found.append(Path(centre, amplitude / beyond[:, None], beyond))
        return found

    def _radiation(self, paths: Sequence[Path], coarse: Floats) -> tuple[Complexes, Floats]:
        """From each radiator by each path in each take, flight taken out, (C, P, D, F); flight (P, D), m."""
        points = np.concatenate([path.points for path in paths])
        length = self.loudspeaker.cabinet.flight_m(points)
        turn = 2j * np.pi * coarse
        transfer = self.loudspeaker.cabinet.transfer(points, coarse, self.air) / turn
        transfer *= np.exp(length[:, None] / self.air.speed * turn)
        takes = len(paths[0].points)
        radiation = transfer.reshape(len(transfer), len(paths), takes, len(coarse))
        for number, path in enumerate(paths):
            radiation[:, number] *= path.gain
        beyond = np.stack([path.beyond_m for path in paths])
        return radiation, length.reshape(len(paths), takes) + beyond

    def _arrived(
        self, bins: Floats, coarse: Floats, radiation: Complexes, flight: Floats, air: Air
    ) -> Complexes:
        """One take's pressure by all paths, for each radiator's volume acceleration; (C, B).

        `radiation` is (C, P, F), `flight` (P,).
        """
        smooth = CubicSpline(coarse, radiation, axis=-1)(bins * (self.air.speed / air.speed))
        way = np.exp(-2j * np.pi * flight[:, None] / air.speed * bins)
        absorbed = air.absorption_db(bins)
        if absorbed.any():
            way *= 10.0 ** (-absorbed * flight[:, None] / 20.0)
        density = air.density / self.air.density
        return np.asarray(density * np.einsum("cpb,pb->cb", smooth, way))

    def _airs(self, temperatures_c: Floats | None, count: int) -> list[Air]:
        if temperatures_c is None:
            return [self.air] * count
        return [Air(float(celsius), self.air.humidity_percent) for celsius in temperatures_c]
