"""Something rings at a place of its own: a port that is heard as a pipe, a cavity, a panel.

About a feature the sound of all directions is taken for smooth grounds and one damped oscillation that
they share (common poles: Haneda 1994, recalled), as the gate leaves it: H(n, f) = P(n, f) + R(n)·g(f; f₀, Q).
Ground and residue follow by least squares, f₀ and Q are sought for all directions at once. Prediction: what
rings with a cone has R(n) in proportion to P(n); what has a place of its own is nearly alike in all
directions but for the way there, R(n) = R₀·e^(−jk(|m − x| − |m|))·|m|/|m − x|, with m the microphone's
place; and x, which is sought, lies apart from where the ground comes from and from the drivers. What has to
go round the box seems to lie farther behind than it does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

from earwitness.acoustics.sections import gated_sections
from earwitness.findings.causes.form import LEAST, Judged, nearest, parameter
from earwitness.findings.causes.scene import Heard
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

CAUSE: Final = Cause.PORT_OR_CAVITY
#: Pipes, cavities and panels of loudspeakers ring below this, Hz, and not more broadly than that.
HIGHEST_HZ, LEAST_FEATURE_Q = 2500.0, 2.0
#: Poles are sought so far to either side of a feature, in these steps, with these Qs.
REACH_OCTAVES, STEP_OCTAVES = 0.2, 1.0 / 48.0
QS: Final = (5.0, 7.0, 10.0, 14.0, 20.0, 30.0, 45.0)
#: A fit spans so much to either side: a neighbour that rings too lies outside of the narrower.
ARMS_OCTAVES: Final = (0.5, 0.25)
#: The ground's degree beside an oscillation, and alone.
DEGREE, DEGREE_ALONE = 3, 5
LEAST_POINTS: Final = 32
#: What the oscillation leaves of what the ground alone leaves, at most.
LEAVES: Final = 0.35
#: What a place of its own leaves of the residues, at most, and that of what a cone's share would leave.
OWN_LEAVES, OWN_PART = 0.3, 0.7
#: It lies at least so far from drivers and from where the ground comes from, m.
APART_M: Final = 0.07
#: Where it is sought, m: behind the front and before it, to the sides, down and up.
LOW_M, HIGH_M = (-0.7, -0.4, -1.0), (0.1, 0.4, 0.7)
GRID_M: Final = (0.1, 0.1, 0.05)
#: It counts from here on, dB; standard uncertainties of its frequency (a part) and of how far apart it lies.
LEAST_DB, STEP_HZ_PART, APART_U_M = 1.0, 0.004, 0.03


@dataclass(frozen=True, slots=True)
class Ring:
    """An oscillation with a place of its own.

    `sound` (D, F) is its part of the pressure; `apart_m` how far its place `at_m` lies from the drivers.
    """

    frequency_hz: float
    q: float
    at_m: tuple[float, float, float]
    apart_m: float
    sound: Complex128s


@dataclass(frozen=True, slots=True)
class _Pole:
    leaves: float
    frequency_hz: float
    q: float
    ground: Complex128s
    residue: Complex128s


def seeker(heard: Heard, gate_s: float, drivers_m: Float64s) -> Callable[[Feature], Ring | None]:
    """Of a feature what rings near it at a place of its own, sought once a frequency; drivers at (N, 3) m."""
    found: dict[int, Ring | None] = {}

    def seek(feature: Feature) -> Ring | None:
        q = feature.q if feature.q is not None else feature.q_at_least
        if feature.frequency_hz > HIGHEST_HZ or q is None or q < LEAST_FEATURE_Q:
            return None
        step = round(float(np.log2(feature.frequency_hz)) / (2.0 * STEP_OCTAVES))
        if step not in found:
            found[step] = ring(heard, gate_s, feature.frequency_hz, drivers_m)
        return found[step]

    return seek


def ring(heard: Heard, gate_s: float, sought_hz: float, drivers_m: Float64s) -> Ring | None:
    """What rings at a place of its own near a frequency; None where nothing does, or without any phase."""
    if not np.any(heard.pressure.imag):
        return None
    poles = [pole for arm in ARMS_OCTAVES if (pole := _pole(heard, gate_s, sought_hz, arm)) is not None]
    best = min(poles, key=lambda pole: pole.leaves, default=None)
    if best is None or best.leaves > LEAVES:
        return None
    size = float(np.linalg.norm(best.residue))
    along = np.vdot(best.ground, best.residue) / max(float(np.linalg.norm(best.ground)) ** 2, LEAST)
    shared = float(np.linalg.norm(best.residue - along * best.ground)) / max(size, LEAST)
    k = 2.0 * np.pi * best.frequency_hz / heard.speed_m_s
    at, own = _place(heard.microphone_m, k, best.residue)
    ground_at, _ = _place(heard.microphone_m, k, best.ground)
    away = np.linalg.norm(np.concatenate([drivers_m, ground_at[None]]) - at, axis=-1)
    if own > min(OWN_LEAVES, OWN_PART * shared) or float(away.min()) < APART_M:
        return None
    shape = _oscillation(heard.frequency_hz, best.frequency_hz, best.q, gate_s)
    where = (float(at[0]), float(at[1]), float(at[2]))
    return Ring(best.frequency_hz, best.q, where, float(away.min()), np.multiply.outer(best.residue, shape))


def judge(heard: Heard, feature: Feature, one: Ring | None) -> Judged:
    """By what rings near the feature at a place of its own."""
    if one is None:
        return Judged(CAUSE, 0.0, against=("nothing rings at a place of its own",))
    effect = effect_db(heard, feature, one)
    if effect < LEAST_DB:
        return Judged(CAUSE, effect, against=("what rings at a place of its own does little here",))
    return Judged(
        CAUSE,
        effect,
        (
            parameter("frequency_hz", one.frequency_hz, STEP_HZ_PART * one.frequency_hz),
            parameter("q", one.q, 0.0),
            parameter("apart_m", one.apart_m, APART_U_M),
        ),
        ("it sounds from a place of its own, nearly alike in all directions",),
    )


def effect_db(heard: Heard, feature: Feature, one: Ring) -> float:
    """Mean over the feature's places of what is heard over that without the ring, to the feature's sign."""
    rows = {direction: row for row, direction in enumerate(heard.directions)}
    found = []
    for place in feature.places:
        row = rows.get(place.direction.shared)
        if row is not None:
            at = nearest(heard.frequency_hz, place.frequency_hz)
            whole = heard.pressure[row, at]
            ratio = abs(whole) / max(abs(whole - one.sound[row, at]), LEAST)
            found.append(feature.sign * 20.0 * np.log10(max(ratio, LEAST)))
    return float(np.mean(found)) if found else 0.0


def _pole(heard: Heard, gate_s: float, sought_hz: float, arm: float) -> _Pole | None:
    """The pole that all directions share best within an arm of octaves."""
    near = np.flatnonzero(np.abs(np.log2(heard.frequency_hz / sought_hz)) <= arm)
    if near.size < LEAST_POINTS * 2.0 * arm:
        return None
    frequency = heard.frequency_hz[near]
    sound = heard.pressure[:, near].T
    scale = np.maximum(np.sqrt(np.mean(np.abs(sound) ** 2, axis=0)), LEAST)
    x = np.log2(frequency / sought_hz) / arm
    alone = _left(np.vander(x, DEGREE_ALONE + 1).astype(np.complex128), sound / scale)
    smooth = np.vander(x, DEGREE + 1)
    octaves = np.arange(-REACH_OCTAVES, REACH_OCTAVES + 1e-9, STEP_OCTAVES)
    tried = []
    for octave in octaves:
        for q in QS:
            centre = sought_hz * float(2.0**octave)
            basis = np.column_stack([_oscillation(frequency, centre, q, gate_s), smooth])
            tried.append((_left(basis, sound / scale), centre, q))
    left, centre, q = min(tried)
    basis = np.column_stack([_oscillation(frequency, centre, q, gate_s), smooth])
    parts = np.linalg.lstsq(basis, sound, rcond=None)[0]
    at = np.vander([np.log2(centre / sought_hz) / arm], DEGREE + 1)[0]
    return _Pole(left / max(alone, LEAST), centre, q, at @ parts[1:], parts[0])


def _left(basis: Complex128s, sound: Complex128s) -> float:
    plane, _ = np.linalg.qr(basis)
    return float(np.linalg.norm(sound - plane @ (plane.conj().T @ sound)))


def _oscillation(frequency: Float64s, centre: float, q: float, gate_s: float) -> Complex128s:
    """(s ω₀/Q)/(s² + s ω₀/Q + ω₀²) through the gate."""
    doubled = 20.0 * np.log10(2.0)
    rows = gated_sections(frequency, np.array([centre]), np.array([doubled]), np.array([q]), gate_s)
    return np.asarray(rows[0] - 1.0)


def _ways(microphone_m: Float64s, wavenumber: float, at_m: Float64s) -> Complex128s:
    """What sources at (..., 3) give at the microphones, re one at the reference point, (..., D)."""
    reference = np.linalg.norm(microphone_m, axis=-1)
    length = np.linalg.norm(microphone_m - at_m[..., None, :], axis=-1)
    return np.asarray(np.exp(-1j * wavenumber * (length - reference)) * reference / length)


def _place(microphone_m: Float64s, wavenumber: float, sound: Complex128s) -> tuple[Float64s, float]:
    """Where a source alike in all directions would be for these pressures (D,), and what it leaves."""
    size = max(float(np.linalg.norm(sound)), LEAST)
    ends = zip(LOW_M, HIGH_M, GRID_M, strict=True)
    axes = [np.arange(low, high + 1e-9, step) for low, high, step in ends]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)

    def left(at_m: Float64s) -> Complex128s:
        ways = _ways(microphone_m, wavenumber, at_m)
        along = (ways.conj() @ sound) / np.sum(np.abs(ways) ** 2, axis=-1)
        return np.asarray((sound - along[..., None] * ways) / size)

    def residual(at_m: Float64s) -> Float64s:
        rest = left(at_m)
        return np.concatenate([rest.real, rest.imag])

    start = grid[int(np.argmin(np.linalg.norm(left(grid), axis=-1)))]
    inside = np.clip(start, np.add(LOW_M, 1e-6), np.subtract(HIGH_M, 1e-6))
    fit = least_squares(residual, inside, bounds=(LOW_M, HIGH_M))
    return np.asarray(fit.x), float(np.linalg.norm(left(fit.x)))
