"""A cone or panel rings: one pair of poles in what one driver sends, the same in all its directions.

The scene's amplitudes are free of the body and of the way. About a frequency f₀ one driver's is taken for a
smooth ground (a polynomial of log frequency, complex) and a damped oscillation of complex residue, as the
gate leaves it: A(f) = P(f) + R·g(f; f₀, Q). Ground and residue follow by least squares, f₀ and Q are sought;
without the oscillation A − R·g is left. It has to explain more than a ground of higher degree with as many
numbers does. The complex fit is the test of phase: a resonance's level without its phase doesn't fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.phase import minimum_phase
from earwitness.acoustics.sections import gated_sections
from earwitness.findings.causes.form import Judged, effect_db, parameter
from earwitness.findings.causes.scene import Scene
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

CAUSE: Final = Cause.RESONANCE
#: Sought: every 1/32 octave, with these Qs; then about the best, finer.
STEP_OCTAVES: Final = 1.0 / 32.0
QS: Final = (3.0, 4.5, 7.0, 11.0, 18.0, 30.0)
#: A fit spans so much to either side, and has at least so many points.
ARM_OCTAVES, LEAST_POINTS = 0.5, 48
#: The ground's degree beside an oscillation, and without one.
DEGREE, DEGREE_ALONE = 3, 5
#: A driver's own amplitude is looked at where it has this share of the power.
HEARD: Final = 0.05
#: An oscillation leaves this part of what the ground alone leaves, at most (root mean square).
LEAVES: Final = 0.2
#: And changes the level by this at least, dB.
LEAST_DB: Final = 1.0
#: What is wider than this is the ground's; a Q less sure than this part of it is none.
LEAST_Q, MOST_Q_U = 2.5, 0.4
MOST_EACH: Final = 2
#: Points of the derived grid that err alike.
ALIKE: Final = 6.0


@dataclass(frozen=True, slots=True)
class Ringing:
    """An oscillation of one driver: `sound` (F,) is its part of the amplitude; `leaves` the misfit's part."""

    driver: int
    frequency_hz: float
    frequency_u_hz: float
    q: float
    q_u: float
    sound: Complex128s
    leaves: float


@dataclass(frozen=True, slots=True)
class _Sought:
    """What one driver sends (F,), the band in which it is heard, and the gate."""

    frequency_hz: Float64s
    sent: Complex128s
    band: slice
    gate_s: float


def ringings(scene: Scene, gate_s: float) -> list[Ringing]:
    """Of all drivers, the clearest of each first; where phase is lost, of all in one."""
    if not scene.heard.has_phase:
        return _of_levels(scene, gate_s)
    found = []
    for driver, share in enumerate(scene.shares):
        heard = np.flatnonzero(share >= HEARD)
        if heard.size < LEAST_POINTS:
            continue
        band = slice(int(heard[0]), int(heard[-1]) + 1)
        found += _all_of(_Sought(scene.heard.frequency_hz, scene.amplitude[driver], band, gate_s), driver)
    return found


def _of_levels(scene: Scene, gate_s: float) -> list[Ringing]:
    """What all send together, taken for a sum of minimum phase.

    Levels hardly tell drivers apart where their ways are short against the wave, but they tell the sum. What
    rings is then told of the driver that is heard most, by its part of the sum.
    """
    frequency = scene.heard.frequency_hz
    whole = scene.amplitude.sum(axis=0)
    logs, level = np.log(frequency), np.log(np.maximum(np.abs(whole), 1e-15))
    slope = float(np.clip(np.polyfit(logs, level, 1)[0], -8.0, 8.0))
    sent = np.exp(level + 1j * minimum_phase(level, float(logs[1] - logs[0]), slope, slope))
    found = []
    for one in _all_of(_Sought(frequency, sent, slice(0, frequency.size), gate_s), 0):
        at = int(np.argmin(np.abs(frequency - one.frequency_hz)))
        driver = int(np.argmax(scene.shares[:, at]))
        found.append(replace(one, driver=driver, sound=scene.amplitude[driver] * one.sound / sent))
    return found


def _all_of(sought: _Sought, driver: int) -> list[Ringing]:
    """The clearest, then the clearest of what it leaves."""
    found = []
    for _ in range(MOST_EACH):
        one = _clearest(sought, driver)
        if one is None:
            break
        sought = replace(sought, sent=sought.sent - one.sound)
        found.append(one)
    return found


def _clearest(sought: _Sought, driver: int) -> Ringing | None:
    frequency, sent, band, gate_s = sought.frequency_hz, sought.sent, sought.band, sought.gate_s
    inside = frequency[band]
    octaves = np.arange(np.log2(inside[0]), np.log2(inside[-1]), STEP_OCTAVES)
    tried = [(_leaves(sought, 2.0 ** float(o), q), o, q) for o in octaves for q in QS]
    best, octave, q = min(tried)
    for step in (0.5, 0.25, 0.125):
        near = [
            (octave + i * step * STEP_OCTAVES, q * 1.5 ** (j * step)) for i in (-1, 0, 1) for j in (-1, 0, 1)
        ]
        best, octave, q = min((_leaves(sought, 2.0 ** float(o), v), o, v) for o, v in near)
    if best > LEAVES or q < LEAST_Q:
        return None
    centre = float(2.0**octave)
    near_band, own, ground = _parts(frequency, band, centre, q, gate_s)
    residue = np.linalg.lstsq(np.column_stack([own, ground]), sent[near_band], rcond=None)[0][0]
    shape = _oscillation(frequency, centre, q, gate_s)
    sound = residue * shape
    with_it, without = np.abs(sent[near_band]), np.abs(sent[near_band] - sound[near_band])
    change = np.abs(20.0 * np.log10(np.maximum(with_it, 1e-15) / np.maximum(without, 1e-15)))
    if change.max() < LEAST_DB:
        return None
    spread = _spread(sought, octave, q, best)
    if spread[1] > MOST_Q_U:
        return None
    return Ringing(driver, centre, centre * np.log(2.0) * spread[0], q, q * spread[1], sound, best)


def _oscillation(frequency: Float64s, centre: float, q: float, gate_s: float) -> Complex128s:
    """(s ω₀/Q)/(s² + s ω₀/Q + ω₀²) through the gate."""
    doubled = 20.0 * np.log10(2.0)
    rows = gated_sections(frequency, np.array([centre]), np.array([doubled]), np.array([q]), gate_s)
    return np.asarray(rows[0] - 1.0)


def _parts(
    frequency: Float64s, band: slice, centre: float, q: float, gate_s: float
) -> tuple[slice, Complex128s, Float64s]:
    """Where a fit lies, the oscillation there, and the ground's polynomials of the lesser degree."""
    near = _near(frequency, band, centre)
    x = np.log2(frequency[near] / centre) / ARM_OCTAVES
    return near, _oscillation(frequency[near], centre, q, gate_s), np.vander(x, DEGREE + 1)


def _near(frequency: Float64s, band: slice, centre: float) -> slice:
    low = max(int(np.searchsorted(frequency, centre * 2.0**-ARM_OCTAVES)), band.start)
    high = min(int(np.searchsorted(frequency, centre * 2.0**ARM_OCTAVES)), band.stop)
    return slice(low, high)


def _leaves(sought: _Sought, centre: float, q: float) -> float:
    """Misfit with an oscillation over that without, root mean square; 1 where there is too little to fit."""
    frequency, gate_s = sought.frequency_hz, sought.gate_s
    near = _near(frequency, sought.band, centre)
    if near.stop - near.start < LEAST_POINTS:
        return 1.0
    here = sought.sent[near]
    x = np.log2(frequency[near] / centre) / ARM_OCTAVES
    alone = here - _projected(np.vander(x, DEGREE_ALONE + 1).astype(np.complex128), here)
    own = _oscillation(frequency[near], centre, q, gate_s)
    left = here - _projected(np.column_stack([own, np.vander(x, DEGREE + 1)]), here)
    return float(np.linalg.norm(left) / max(float(np.linalg.norm(alone)), 1e-30))


def _projected(basis: Complex128s, values: Complex128s) -> Complex128s:
    plane, _ = np.linalg.qr(basis)
    return np.asarray(plane @ (plane.conj().T @ values))


def _spread(sought: _Sought, octave: float, q: float, best: float) -> tuple[float, float]:
    """Standard uncertainties of log₂ f₀ and ln Q from the misfit's curvature."""
    points = _near(sought.frequency_hz, sought.band, 2.0**octave)
    count = max((points.stop - points.start) / ALIKE, 2.0)
    spreads = []
    for along in ((0.01, 0.0), (0.0, 0.1)):
        sides = [
            _leaves(sought, 2.0 ** (octave + s * along[0]), q * float(np.exp(s * along[1])))
            for s in (-1.0, 1.0)
        ]
        step = max(along)
        curvature = (sides[0] ** 2 + sides[1] ** 2 - 2.0 * best**2) / step**2
        spreads.append(float(np.sqrt(2.0 * best**2 / count / max(curvature, 1e-9))))
    return min(spreads[0], 0.5), min(spreads[1], 1.0)


def judge(scene: Scene, feature: Feature, found: Sequence[Ringing]) -> Judged:
    """By the oscillation that does most there, near by or at its skirts."""
    if not found:
        return Judged(CAUSE, 0.0, against=("no driver rings",))
    effects = []
    for one in found:
        sent = scene.amplitude.copy()
        sent[one.driver] = sent[one.driver] - one.sound
        effects.append(effect_db(scene, feature, scene.pressure(amplitude=sent)))
    most = int(np.argmax(effects))
    one = found[most]
    return Judged(
        CAUSE,
        effects[most],
        (parameter("frequency_hz", one.frequency_hz, one.frequency_u_hz), parameter("q", one.q, one.q_u)),
        ("one driver rings, level and phase, in all directions",) if effects[most] >= LEAST_DB else (),
        () if effects[most] >= LEAST_DB else ("what rings does little here",),
    )
