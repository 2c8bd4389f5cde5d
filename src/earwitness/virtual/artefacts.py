"""Artefacts: what the rig adds to a loudspeaker, each with its place, size, and effect on every curve.

The effect is counterfactual: 20 lg|H with / H without| of each curve of the recorded set, everything else in
place, the room and the loudspeaker's faults too (the difference of the two for a directivity index). The
recorded set is what 72 takes hold when each is divided by what was played and referred to 1 m by the
distance that the turntable should have: no gate, no smoothing, no noise. A gate that ends before a
reflection takes it out. Above a few kilohertz a comb is finer than the truth's grid, which holds its values
at the grid's points. Where the air warms, a grid as fine as that is needed: what arrives is interpolated.

Places are in the room's coordinates (`room`), sizes those of the take in which the loudspeaker faces the
microphone. The gain of a reflection is re the straight sound, of a source that is alike in both directions,
at 1 kHz.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.export import divided, spectrum_at
from earwitness.virtual.files import Turn
from earwitness.virtual.recording import Session
from earwitness.virtual.room import SIDES, Surface
from earwitness.virtual.scatterer import Scatterer, scattered
from earwitness.virtual.standard_curves import CURVES, DIRECTIONS, power_curves
from earwitness.virtual.turntable import View

#: Where the gain of a reflection is read, hertz.
GAIN_HZ: Final = np.array([1000.0])
Place = tuple[float, float, float]
Effects = Mapping[str, Floats]


@dataclass(frozen=True, slots=True)
class Artefact:
    """One thing that the rig does. `note` says it to a person.

    Attributes
    ----------
    places
        Part of the rig, and where it is, in the room's coordinates; none where it has no place.
    parameters
        Of which part, name, value, and what it would be without, None where the part would not be there.
    effects_db
        For each curve, shape (F,).
    """

    name: str
    note: str
    places: tuple[tuple[str, Place], ...]
    parameters: tuple[tuple[str, str, float, float | None], ...]
    effects_db: Effects


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What arrives at the microphone in D takes by P paths, in air as it is on average, for each radiator.

    Attributes
    ----------
    frequencies
        Shape (F,).
    radiation
        For each unit of each radiator's volume acceleration, flight taken out, shape (C, P, D, F).
    flight_m
        Shape (P, D).
    acceleration
        Of each radiator for each volt, shape (C, F).
    met
        What each path meets on its way: sides of the room, or a ball.
    """

    frequencies: Floats
    radiation: Complexes
    flight_m: Floats
    acceleration: Complexes
    air: Air
    met: tuple[tuple[str, ...], ...]

    @classmethod
    def of(cls, session: Session, frequencies: Floats) -> Arrivals:
        """Those of a session's turns, in the order of `DIRECTIONS`."""
        workshop = session.workshop
        view = View.joined([session._turned(turn) for turn in ordered(session)])
        paths = workshop.paths(view, frequencies)
        images = workshop.room.images(view.microphone)
        met: list[tuple[str, ...]] = [tuple(side.side for side in image.met) for image in images]
        met += [(ball_name(number),) for number in range(len(workshop.scatterers))]
        cabinet, turn = workshop.loudspeaker.cabinet, 2j * np.pi * frequencies
        points = np.concatenate([path.points for path in paths])
        length = cabinet.flight_m(points)
        transfer = cabinet.transfer(points, frequencies, workshop.air) / turn
        transfer *= np.exp(length[:, None] / workshop.air.speed * turn)
        transfer = transfer.reshape(len(transfer), len(paths), len(DIRECTIONS), len(frequencies))
        for number, path in enumerate(paths):
            transfer[:, number] *= path.gain
        beyond = np.stack([path.beyond_m for path in paths])
        acceleration = workshop.loudspeaker.volume_velocities(frequencies, workshop.air) * turn
        acceleration *= workshop.chain.amplifier(workshop.loudspeaker, frequencies, workshop.air)
        flight = length.reshape(beyond.shape) + beyond
        return cls(frequencies, transfer, flight, acceleration, workshop.air, tuple(met))

    def pressure(self, temperatures_c: Floats | None = None, without: str | None = None) -> Complexes:
        """Pa for a volt, shape (D, F), on a day with these temperatures (D,), less the paths by `without`."""
        kept = [number for number, met in enumerate(self.met) if without not in met]
        if temperatures_c is None:
            airs = [self.air] * len(DIRECTIONS)
        else:
            airs = [Air(float(celsius), self.air.humidity_percent) for celsius in temperatures_c]
        return np.stack([self._take(take, kept, air) for take, air in enumerate(airs)])

    def _take(self, take: int, kept: list[int], air: Air) -> Complexes:
        """One take (F,); in other air a body radiates as in this one at a shifted frequency (`workshop`)."""
        radiation = self.radiation[:, kept, take]
        if air != self.air:
            shifted = self.frequencies * (self.air.speed / air.speed)
            radiation = CubicSpline(self.frequencies, radiation, axis=-1)(shifted)
        flight = self.flight_m[kept, take][:, None]
        way = np.exp(-2j * np.pi * flight / air.speed * self.frequencies)
        way *= 10.0 ** (-air.absorption_db(self.frequencies) * flight / 20.0)
        density = air.density / self.air.density
        return np.asarray(density * np.einsum("cf,cpf,pf->f", self.acceleration, radiation, way))


def ordered(session: Session) -> list[Turn]:
    """The session's turns in the order of `DIRECTIONS`."""
    turns = {(turn.orbit, turn.angle_deg): turn for turn in session.turns}
    return [turns[orbit, angle] for orbit, angle in DIRECTIONS]


def ball_name(number: int) -> str:
    """What a ball in the room is called."""
    return f"ball_{number + 1}"


def artefacts(session: Session, frequencies: Floats) -> tuple[Artefact, ...]:
    """All that the rig of a session does, on a grid (F,); takes as long as the cabinet's transfer.

    Only what acts on a curve: latency and resolution don't, and noise has no size that is true.
    """
    return tuple(RecordedSet(session, frequencies).artefacts())


class RecordedSet:
    """A session's set of takes, with everything that the rig does to it."""

    def __init__(self, session: Session, frequencies: Floats) -> None:
        self._session = session
        self._frequencies = frequencies
        self._arrivals = Arrivals.of(session, frequencies)
        self._temperatures = session._temperatures(ordered(session))
        self._whole = self._arrivals.pressure(self._temperatures)
        table = replace(session.turntable, axis_left_m=0.0, microphone_up_m=0.0)
        points = [table.microphone(turn.orbit, np.array([turn.angle_deg]))[0] for turn in ordered(session)]
        self._distance = np.linalg.norm(points, axis=-1)[:, None]

    def artefacts(self) -> Iterator[Artefact]:
        """Surfaces, balls, turntable, microphone, amplifier, hum, drift; those there are."""
        workshop, table = self._session.workshop, self._session.turntable
        for surface in workshop.room.surfaces:
            yield self._reflection(surface)
        for number, ball in enumerate(workshop.scatterers):
            yield self._scattering(ball_name(number), ball)
        if table.angle_offset_deg or table.angle_spread_deg:
            yield self._angle()
        if table.axis_left_m or table.microphone_up_m:
            yield self._axis()
        yield self._microphone()
        if workshop.chain.output_ohm:
            yield self._amplifier()
        if any(workshop.chain.hum_pa):
            yield self._hum()
        if self._session.warming_k:
            yield self._drift()

    def _effects(self, whole: Complexes, without: Complexes) -> Effects:
        given, left = (power_curves(self._distance * pressure) for pressure in (whole, without))
        return {name: np.asarray(10.0 * np.log10(given[name] / left[name])) for name in CURVES}

    def _without_path(self, name: str) -> Effects:
        return self._effects(self._whole, self._arrivals.pressure(self._temperatures, name))

    def _reflection(self, surface: Surface) -> Artefact:
        microphone = self._microphone_place()
        axis, _ = SIDES[surface.side]
        image = microphone.copy()
        image[axis] = 2.0 * surface.place_m - image[axis]
        gain = float(np.abs(surface.transfer(GAIN_HZ))[0])
        return Artefact(
            name=surface.side,
            note=f"The {surface.side} reflects; delay and gain are those of the way by it alone.",
            places=((surface.side, _place(image * (surface.place_m / image[axis]))),),
            parameters=self._way(surface.side, float(np.linalg.norm(image)), gain),
            effects_db=self._without_path(surface.side),
        )

    def _scattering(self, name: str, ball: Scatterer) -> Artefact:
        """`scatterer` has the ball's amplitude: how far it sends what reaches it, as a length."""
        centre = np.array(ball.place_m)
        onward = self._microphone_place() - centre
        there, beyond = float(np.linalg.norm(centre)), float(np.linalg.norm(onward))
        cosine = np.array([centre @ onward / (there * beyond)])
        amplitude = scattered(ball.radius_m, cosine, 2.0 * np.pi * GAIN_HZ / self._session.workshop.air.speed)
        gain = float(np.abs(amplitude)[0, 0]) * (there + beyond) / (there * beyond)
        stays = "turns with the loudspeaker" if ball.turns else "stays where it is"
        return Artefact(
            name=name,
            note=f"Something round throws sound back, and {stays}.",
            places=((name, ball.place_m),),
            parameters=((name, "radius_m", ball.radius_m, None), *self._way(name, there + beyond, gain)),
            effects_db=self._without_path(name),
        )

    def _way(self, name: str, length: float, gain: float) -> tuple[tuple[str, str, float, None], ...]:
        straight = float(np.linalg.norm(self._microphone_place()))
        return (
            (name, "path_difference_m", length - straight, None),
            (name, "delay_s", (length - straight) / self._session.workshop.air.speed, None),
            (name, "gain_db", float(20.0 * np.log10(gain * straight / length)), None),
        )

    def _angle(self) -> Artefact:
        table = self._session.turntable
        exact = self._retold(angle_offset_deg=0.0, angle_spread_deg=0.0)
        return Artefact(
            name="angle",
            note="The turntable doesn't stand where it says; each take has an error of its own.",
            places=(self._pivot(),),
            parameters=(
                ("turntable", "angle_offset_deg", table.angle_offset_deg, 0.0),
                ("turntable", "angle_spread_deg", table.angle_spread_deg, 0.0),
            ),
            effects_db=self._effects(self._whole, exact),
        )

    def _axis(self) -> Artefact:
        table = self._session.turntable
        return Artefact(
            name="axis",
            note="The turntable's axis or the microphone lies beside the reference axis.",
            places=(self._pivot(),),
            parameters=(
                ("turntable", "axis_left_m", table.axis_left_m, 0.0),
                ("turntable", "microphone_up_m", table.microphone_up_m, 0.0),
            ),
            effects_db=self._effects(self._whole, self._retold(axis_left_m=0.0, microphone_up_m=0.0)),
        )

    def _retold(self, **turntable: float) -> Complexes:
        """The set with another turntable."""
        session = replace(self._session, turntable=replace(self._session.turntable, **turntable))
        return Arrivals.of(session, self._frequencies).pressure(self._temperatures)

    def _microphone(self) -> Artefact:
        microphone = self._session.workshop.microphone
        return Artefact(
            name="microphone",
            note="The microphone's own response; the calibration file among the recordings takes it out.",
            places=(("microphone", _place(self._microphone_place())),),
            parameters=(
                ("microphone", "resonance_hz", microphone.resonance_hz, None),
                ("microphone", "q", microphone.q, None),
                ("microphone", "bass_limit_hz", microphone.bass_limit_hz, None),
            ),
            effects_db=self._alike(microphone.transfer),
        )

    def _amplifier(self) -> Artefact:
        workshop = self._session.workshop
        resistance = workshop.chain.output_ohm
        return Artefact(
            name="amplifier",
            note="The amplifier's output resistance and the loudspeaker's impedance share the voltage.",
            places=(),
            parameters=(("amplifier", "output_ohm", resistance, 0.0),),
            effects_db=self._alike(
                lambda frequencies: np.asarray(
                    workshop.chain.amplifier(workshop.loudspeaker, frequencies, workshop.air)
                )
            ),
        )

    def _alike(self, transfer: Callable[[Floats], Complexes]) -> Effects:
        """What acts on every take alike."""
        return self._effects(self._whole * transfer(self._frequencies), self._whole)

    def _hum(self) -> Artefact:
        """What a plain division by the stimulus makes of the very hum that is in each recording."""
        chain, microphone = self._session.workshop.chain, self._session.workshop.microphone
        clean = self._whole * microphone.transfer(self._frequencies) * chain.converter(self._frequencies)
        hum = np.stack([self._hum_in(turn) for turn in ordered(self._session)])
        return Artefact(
            name="hum",
            note="The mains hums in every recording, each time with other phases.",
            places=(),
            parameters=tuple(
                ("hum", f"pa_at_{number * chain.mains_hz:g}_hz", level, 0.0)
                for number, level in enumerate(chain.hum_pa, start=1)
            ),
            effects_db=self._effects(clean + hum, clean),
        )

    def _hum_in(self, turn: Turn) -> Complexes:
        session, workshop = self._session, self._session.workshop
        quiet = replace(
            workshop,
            microphone=replace(workshop.microphone, noise_pa=0.0),
            room=replace(workshop.room, ambient_pa=0.0),
        )
        rate, stimulus = workshop.chain.sample_rate_hz, session.sweep.samples()
        count = len(stimulus) + round(session.tail_s * rate)
        response = divided(replace(session, workshop=quiet)._background(turn.name, count), stimulus)
        volts = turn.drive_v * np.sqrt(2.0) / session.sweep.peak
        spectrum = spectrum_at(response, self._frequencies / rate)
        return np.asarray(spectrum * workshop.chain.full_scale_pa / volts)

    def _drift(self) -> Artefact:
        return Artefact(
            name="drift",
            note="The air warms evenly from the first take to the last.",
            places=(),
            parameters=(("air", "warming_k", self._session.warming_k, 0.0),),
            effects_db=self._effects(self._whole, self._arrivals.pressure()),
        )

    def _microphone_place(self) -> Floats:
        table = self._session.turntable
        return np.array([table.distance_m, 0.0, table.microphone_up_m])

    def _pivot(self) -> tuple[str, Place]:
        table = self._session.turntable
        return "turntable", (-table.rotation_behind_m, table.axis_left_m, 0.0)


def _place(point: Floats) -> Place:
    x, y, z = point.tolist()
    return x, y, z
