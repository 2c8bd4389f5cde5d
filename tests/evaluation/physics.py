"""A case made directly from physics: gated noisy responses in 72 takes, and what each mechanism does to them.

Pressure is worked out at the 72 places at which the turntable puts the microphone, errors of angle
included, turned into impulse responses of 0.17 s and cut by the gate that ends before the floor's or the
ceiling's sound. So there is no room in it but the gate that it leaves. The noise is that of the rig:
background equal in every octave and white noise of the microphone, over the sweep's energy.

What a mechanism does is 20 lg|with / without|, *both through the same gate*, free of noise. Mechanisms are
the scenario's faults and, as geometry, its edges, the distances between its drivers and its drivers'
beaming. A radiator that doesn't beam sends to the side what it sends over 2J₁(x)/x, x = ka sin φ about the
x axis, at most 12 dB more; behind as at 90 degrees.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
from evaluation.population import Drawn
from scipy.interpolate import CubicSpline
from scipy.special import j1

from earwitness.acoustics.gating import gate, valid_from_hz
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName
from earwitness.virtual.box import BoxCabinet
from earwitness.virtual.counterfactual import Heard, Listening, coincident, edge_free
from earwitness.virtual.faults import Fault
from earwitness.virtual.scenario import Scenario
from earwitness.virtual.standard_curves import DIRECTIONS
from earwitness.virtual.truth_file import geometry

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complexfloating]

RATE_HZ: Final = 48_000.0
SAMPLES: Final = 2**13
#: Radiation is worked out at these frequencies, and in between by cubic splines.
COARSE_HZ: Final = np.concatenate([[1.0, 50.0], np.arange(100.0, 24_100.0, 100.0)])
LEAD_S: Final = 2e-3
#: The gate ends so long before the first reflection is due.
MARGIN_S: Final = 2.5e-4
#: Above this the converter's filter begins to be felt.
HIGHEST_HZ: Final = 20_000.0
#: Least of 2J₁(x)/x that is made up for.
LEAST_BEAM: Final = 0.25
BEAMING: Final = "beaming"
Places = tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Mechanism:
    """Something that shapes the sound, and by how much in each take.

    `effect_db` is (72, F) on the case's valid frequencies; `parameters` are the truth's own, by name.
    """

    name: str
    cause: str
    standing: str
    effect_db: Floats
    parameters: dict[str, float]


@dataclass(frozen=True)
class Made:
    """A case: what was measured, and what is true of it.

    Attributes
    ----------
    responses
        What the product would have: noisy, gated, on the derived grid.
    frequency_hz
        The F valid frequencies.
    level_db
        Free of noise, (72, F), in the order of `standard_curves.DIRECTIONS`.
    mechanisms
        The faults, then geometry.
    """

    drawn: Drawn
    responses: Responses
    frequency_hz: Floats
    level_db: Floats
    mechanisms: tuple[Mechanism, ...]

    @property
    def shape(self) -> str:
        """Ball or box."""
        return "box" if isinstance(self.drawn.scenario.loudspeaker.cabinet, BoxCabinet) else "ball"


def gate_s(scenario: Scenario) -> float:
    """Until the floor's or the ceiling's sound, less a margin."""
    distance = scenario.turntable.distance_m
    way = min(
        float(np.hypot(distance, 2.0 * surface.distance_m)) - distance
        for surface in scenario.session.workshop.room.surfaces
    )
    return way / scenario.air.speed - MARGIN_S


def make(drawn: Drawn, gate_length_s: float | None = None) -> Made:
    """The case of what was drawn, in about a second and a half."""
    scenario = drawn.scenario
    view = _Viewed.of(drawn, gate_s(scenario) if gate_length_s is None else gate_length_s)
    whole = view.spectra(())
    level = _db(whole)
    found = []
    standing = [("fault", f) for f in scenario.faults] + [("geometry", f) for f in geometry(scenario)]
    for kind, fault in standing:
        effect = level - _db(view.spectra((fault,)))
        found.append(Mechanism(fault.name, fault.cause, kind, effect, _parameters(scenario, fault)))
    effect = level - _db(view.spectra((), beaming=False))
    found.append(Mechanism(BEAMING, "driver_directivity", "geometry", effect, {}))
    noisy, segment, noise_db = view.noisy(whole)
    responses = _responses(drawn, view, noisy, segment, noise_db)
    return Made(drawn, responses, view.frequency_hz, level, tuple(found))


@dataclass(frozen=True)
class _Viewed:
    """A scenario as its 72 takes see it."""

    drawn: Drawn
    listening: Listening
    transfer: Complexes
    flight: Complexes
    distance_m: Floats
    gate_s: float

    @classmethod
    def of(cls, drawn: Drawn, gate_length_s: float) -> _Viewed:
        scenario = drawn.scenario
        lots = np.random.default_rng([drawn.seed, 9])
        table = scenario.turntable
        points = np.concatenate(
            [
                table.microphone(
                    orbit, np.array([a + table.error_deg(lots) for o, a in DIRECTIONS if o == orbit])
                )
                for orbit in ("horizontal", "vertical")
            ]
        )
        listening = Listening(scenario.document, Heard(points, COARSE_HZ, scenario.air))
        transfer = scenario.loudspeaker.cabinet.transfer(points, COARSE_HZ, scenario.air)
        distance = np.linalg.norm(points, axis=-1)
        flight = np.exp(2j * np.pi * COARSE_HZ * distance[:, None] / scenario.air.speed)
        return cls(drawn, listening, transfer, flight, distance, gate_length_s)

    @property
    def frequency_hz(self) -> Floats:
        grid = derived_grid()
        return grid[(grid >= float(valid_from_hz(self.gate_s))) & (grid <= HIGHEST_HZ)]

    @property
    def bins(self) -> Floats:
        return np.asarray(np.fft.rfftfreq(SAMPLES, 1.0 / RATE_HZ)[1:], dtype=np.float64)

    @property
    def time_s(self) -> Floats:
        count = int(np.ceil((LEAD_S + self.gate_s) * RATE_HZ)) + 1
        return np.asarray(np.arange(count) / RATE_HZ - LEAD_S)

    def spectra(self, without: Sequence[Fault], *, beaming: bool = True) -> Complexes:
        """Gated, Pa per volt at 1 m, (72, F)."""
        return self._passed(self.segments(without, beaming=beaming))

    def segments(self, without: Sequence[Fault], *, beaming: bool = True) -> Floats:
        """What arrives about the arrival, not yet gated, (72, n)."""
        scenario, heard = self.drawn.scenario, self.listening.heard
        parts = self.listening.parts(without)
        transfer, cabinet = self.transfer, parts.cabinet
        assert cabinet == scenario.loudspeaker.cabinet, "its transfer would have to be computed again"
        names = parts.source.radiators
        for fault in without:
            if fault.edges:
                assert isinstance(cabinet, BoxCabinet)
                transfer = edge_free(transfer, cabinet, [names.index(n) for n in fault.edges], heard)
            if fault.together:
                transfer = coincident(transfer, cabinet, [names.index(n) for n in fault.together], heard)
        if not beaming:
            transfer = transfer / self._beams()
        smooth = CubicSpline(COARSE_HZ, transfer * self.flight * self.distance_m[:, None], axis=-1)(self.bins)
        velocity = parts.volume_velocities(self.bins, scenario.air)
        arrived = np.zeros((len(smooth[0]), len(self.bins) + 1), dtype=np.complex128)
        arrived[:, 1:] = np.einsum("cdf,cf->df", smooth, velocity) * self._converter()
        impulse = scipy.fft.irfft(arrived, SAMPLES, axis=-1)
        lead = round(LEAD_S * RATE_HZ)
        return np.asarray(np.roll(impulse, lead, axis=-1)[:, : len(self.time_s)])

    def _converter(self) -> Floats:
        """1 up to 22.2 kHz, nothing at half the sample rate."""
        return np.asarray(np.cos(0.5 * np.pi * np.clip((self.bins - 22_200.0) / 1_800.0, 0.0, 1.0)) ** 2)

    def _beams(self) -> Floats:
        """2J₁(x)/x of each radiator in each take, (C, 72, F)."""
        cabinet, heard = self.drawn.scenario.loudspeaker.cabinet, self.listening.heard
        found = []
        for number, radiator in enumerate(cabinet.radiators):
            centre = cabinet.in_front_of(number, 0.0)
            outward = cabinet.in_front_of(number, 1.0) - centre
            sight = heard.points - centre
            cosine = sight @ outward / np.linalg.norm(sight, axis=-1)
            sine = np.where(cosine > 0.0, np.sqrt(np.maximum(1.0 - cosine**2, 0.0)), 1.0)
            diameter = float(radiator.diameter_m)  # type: ignore[attr-defined]
            x = np.maximum(np.pi * diameter / heard.air.speed * sine[:, None] * heard.frequencies, 1e-6)
            found.append(np.maximum(2.0 * j1(x) / x, LEAST_BEAM))
        return np.stack(found)

    def _passed(self, segments: Floats) -> Complexes:
        kernel = np.exp(-2j * np.pi * self.time_s[:, None] * self.frequency_hz)
        return np.asarray((segments * gate(self.time_s, LEAD_S, self.gate_s)) @ kernel)

    def noisy(self, whole: Complexes) -> tuple[Complexes, Floats, Floats]:
        """The spectra and gated samples with noise in them, and the level's standard uncertainty from it."""
        session = self.drawn.scenario.session
        room, microphone = session.workshop.room, session.workshop.microphone
        sweep = session.sweep
        octaves = np.log(RATE_HZ / 2.0 / 10.0)

        def density(f: Floats) -> Floats:
            """Of noise (two-sided, Pa²/Hz) over the sweep's energy density (V²/Hz²)."""
            noise = 0.5 * (room.ambient_pa**2 / (f * octaves) + microphone.noise_pa**2 / (RATE_HZ / 2.0))
            rate = sweep.wanted_s / np.log(sweep.last_hz / sweep.first_hz)
            return np.asarray(noise / ((session.turns[0].drive_v * np.sqrt(2.0)) ** 2 * rate / (4.0 * f)))

        time = self.time_s
        lots = np.random.default_rng([self.drawn.seed, 11])
        white = scipy.fft.rfft(lots.normal(size=(len(whole), SAMPLES)), axis=-1)
        white[:, 0] = 0.0
        white[:, 1:] *= np.sqrt(density(self.bins) / RATE_HZ)
        noise = scipy.fft.irfft(white, SAMPLES, axis=-1)[:, : len(time)] * self.distance_m[:, None]
        segments = self.segments(()) + noise
        weights = float(np.sum(gate(time, LEAD_S, self.gate_s) ** 2))
        power = density(self.frequency_hz) / RATE_HZ * weights * self.distance_m[:, None] ** 2
        uncertainty = 20.0 / np.log(10.0) * np.sqrt(power / 2.0) / np.abs(whole)
        return self._passed(segments), segments * gate(time, LEAD_S, self.gate_s), uncertainty


def _responses(drawn: Drawn, view: _Viewed, noisy: Complexes, segment: Floats, noise_db: Floats) -> Responses:
    grid = derived_grid()
    inside = np.isin(grid, view.frequency_hz)
    takes = tuple(
        Take(
            f"{orbit}{angle}.wav",
            TakeKey(TakeKind.IMPULSE_RESPONSE, Direction(Orbit(orbit), float(angle)), Drive(2.83)),
        )
        for orbit, angle in DIRECTIONS
    )
    count = len(takes)
    pressure = np.zeros((count, grid.size), dtype=np.complex64)
    pressure[:, inside] = noisy if drawn.has_phase else np.abs(noisy)
    noise = np.full((count, grid.size), np.nan)
    noise[:, inside] = noise_db
    valid = np.tile(inside, (count, 1))
    return Responses(
        takes=takes,
        frequency_hz=grid,
        pressure=pressure,
        valid=valid,
        origin=np.where(valid, np.uint8(Origin.GATED), np.uint8(Origin.NOTHING)),
        has_phase=np.full(count, drawn.has_phase),
        seen_angle_deg=np.array([float(angle) for _, angle in DIRECTIONS]),
        components={ComponentName.NOISE: noise},
        impulse_response=(segment if drawn.has_phase else np.zeros_like(segment)).astype(np.float32),
        sample_rate_hz=np.full(count, RATE_HZ if drawn.has_phase else 0.0),
        gate_s=np.full(count, view.gate_s if drawn.has_phase else 0.0),
        lead_s=LEAD_S,
        near_field_takes=((),) * count,
        valid_from_hz=float(valid_from_hz(view.gate_s)),
        microphone_m=_microphone_m(drawn.scenario),
    )


def _microphone_m(scenario: Scenario) -> Floats:
    """Where a reviewer takes the microphone to be, (72, 3): the stated geometry, not its errors."""
    angle = np.radians([float(degrees) for _, degrees in DIRECTIONS])
    upright = np.array([Orbit(orbit) is Orbit.VERTICAL for orbit, _ in DIRECTIONS])
    behind = scenario.turntable.rotation_behind_m
    arm = scenario.turntable.distance_m + behind
    aside = arm * np.sin(angle)
    ahead = arm * np.cos(angle) - behind
    return np.column_stack([ahead, np.where(upright, 0.0, aside), np.where(upright, aside, 0.0)])


def _parameters(scenario: Scenario, fault: Fault) -> dict[str, float]:
    """What a fit could find: a resonance's frequency and Q, the spacing of each pair (numbered)."""
    source = scenario.loudspeaker.source
    found: dict[str, float] = {}
    for own in source.faults(scenario.air):
        if own.name in fault.silences:
            found["frequency_hz"], found["q"] = source.ringing(own.name, scenario.air)
    if fault.together:
        places = [scenario.loudspeaker.in_front_of(name, 0.0) for name in fault.together]
        pairs = combinations(places, 2)
        found |= {f"spacing_m {n}": float(np.linalg.norm(a - b)) for n, (a, b) in enumerate(pairs)}
    return found


def _db(spectra: Complexes) -> Floats:
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(spectra), 1e-12)))
