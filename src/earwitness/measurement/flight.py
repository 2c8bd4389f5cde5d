"""The flight of the direct sound: when it arrives in each take, and about which point the unit turns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival
from earwitness.measurement.geometry import FittedRotation, Turntable, fitted_rotation
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.takes import Direction, Orbit

Float64s = npt.NDArray[np.float64]

#: The arrival is sought in this band, where sound bends round a cabinet and is still short in time.
BAND_HZ: Final = (700.0, 8_000.0)
#: So long before and after its place by geometry: behind the cabinet sound comes later.
WINDOW_S: Final = (3e-4, 1.2e-3)
#: Direct sound is no weaker than this re the greatest peak of its own take; else clocks aren't shared.
WEAKEST_DB: Final = -20.0
#: Flights in front that lie further than this from the best rotation point (their median) tell of clocks that
#: aren't shared: the radiators of one loudspeaker lie a few centimetres apart.
SCATTER_M: Final = 0.03
#: A stated rotation point that lies further from the one that flights show, and further than so many standard
#: uncertainties of it, is contradicted.
CONTRADICTED_M: Final = 0.02
CONTRADICTED_TIMES: Final = 3.0
#: On-axis arrivals that differ as if air had changed by so much are pointed out, in so many steps.
DRIFTS_K: Final = ((4.0, "several kelvins"), (1.0, "more than a kelvin"), (0.5, "half a kelvin"))
#: Absolute temperature at which that is reckoned.
NOMINAL_K: Final = 293.15
NO_CLOCK: Final = "The recordings don't share a clock; each take's arrival was found by itself."


@dataclass(frozen=True)
class Flight:
    """Where the microphone stood and when sound arrived.

    `arrival_s` (R,) is re the stimulus' start, for sound that comes straight from the reference point; the
    sound that has to bend round the cabinet comes a little later. `timed_by` is the geometry that arrivals
    follow, None where each take's arrival was found by itself.
    """

    turntable: Turntable
    arrival_s: Float64s
    notes: tuple[str, ...]
    timed_by: Turntable | None = None


def find_flight(
    directions: Sequence[Direction],
    responses: Sequence[ImpulseResponse],
    distance_m: float,
    rotation_behind_m: float | None,
    speed_m_s: float,
) -> Flight:
    """Arrivals of R takes by geometry, from those found on axis, and the rotation point.

    Where enough takes share a clock the rotation point is fitted to their times of flight, even where one is
    stated; a stated one keeps its say in levels and angles, but one that is contradicted is pointed out, and
    arrivals are then those of the fit. Where takes scatter about the fit, or one has no sound near its place
    by geometry, recordings don't share a clock, and every take keeps its own greatest peak.
    """
    angles = np.array([d.angle_deg for d in directions])
    orbits = np.array([list(Orbit).index(d.orbit) for d in directions])
    heard = [_Heard(arrival.envelope(r.samples, r.sample_rate_hz, BAND_HZ), r) for r in responses]
    greatest = np.array([h.peak_s(-np.inf, np.inf) for h in heard])
    stated = Turntable(distance_m, rotation_behind_m or 0.0)
    on_axis = _on_axis_s(directions, greatest)
    if on_axis is None:
        note = "There is no take on axis; each take's arrival was found by itself."
        return Flight(stated, greatest, (note, *_assumed(angles, rotation_behind_m)))

    def expected(mount: Turntable) -> Float64s:
        return np.asarray(on_axis + (mount.distances_m(angles) - distance_m) / speed_m_s)

    def fit(arrivals: Float64s) -> FittedRotation | None:
        return fitted_rotation(angles, orbits, (arrivals - on_axis) * speed_m_s, distance_m)

    rough = fit(greatest)
    near = expected(stated if rough is None else Turntable(distance_m, rough.behind_m))
    found = np.array(
        [h.peak_s(at - WINDOW_S[0], at + WINDOW_S[1]) for h, at in zip(heard, near, strict=True)]
    )
    fitted = None if np.isnan(found).any() else fit(found)
    if np.isnan(found).any() or (fitted is not None and fitted.scatter_m > SCATTER_M):
        return Flight(stated, greatest, (NO_CLOCK, *_assumed(angles, rotation_behind_m)))
    drift = drift_notes(greatest[angles == 0.0], distance_m, speed_m_s)
    if fitted is None:
        return Flight(stated, expected(stated), (*_assumed(angles, rotation_behind_m), *drift), stated)
    shown = Turntable(distance_m, fitted.behind_m)
    if rotation_behind_m is None:
        note = "The rotation point isn't stated; it was found from the times of flight in front."
        return Flight(shown, expected(shown), (note, *drift), shown)
    if _contradicted(rotation_behind_m, fitted):
        note = (
            "The stated axis of rotation and the times of flight disagree by more than two centimetres; "
            "check rig.rotation_behind_m, unless sound starts that far from the reference point, as in a "
            "horn. Levels and angles follow the stated one."
        )
        return Flight(stated, expected(shown), (note, *drift), shown)
    return Flight(stated, expected(stated), drift, stated)


def drift_notes(on_axis_s: Float64s, distance_m: float, speed_m_s: float) -> tuple[str, ...]:
    """What on-axis takes of one session say that don't arrive alike; nothing below half a kelvin.

    A change of temperature by dT changes the time of flight by −dT/2T of it: at 2 m and 20 °C 1 K is 9.9 µs,
    or 3.4 mm. Levels are hardly touched; each orbit keeps the arrival of its own on-axis takes.
    """
    apart_s = float(np.ptp(on_axis_s))
    kelvin = 2.0 * NOMINAL_K * apart_s * speed_m_s / distance_m
    for least_k, words in DRIFTS_K:
        if kelvin >= least_k and apart_s * speed_m_s <= SCATTER_M:
            return (
                "On-axis takes arrive at different times, as if the air had warmed or cooled by "
                f"{words}, or the microphone or the loudspeaker had moved by some millimetres. Each orbit "
                "keeps the arrival of its own.",
            )
    return ()


def _contradicted(stated_m: float, fitted: FittedRotation) -> bool:
    apart = abs(stated_m - fitted.behind_m)
    return apart > max(CONTRADICTED_M, CONTRADICTED_TIMES * fitted.uncertainty_m)


def _assumed(angles_deg: Float64s, rotation_behind_m: float | None) -> tuple[str, ...]:
    """What is said where the rotation point is neither stated nor found."""
    if rotation_behind_m is not None or not np.any(angles_deg):
        return ()
    return ("The rotation point isn't stated or found; the unit is taken to turn about its reference point.",)


def _on_axis_s(directions: Sequence[Direction], greatest_s: Float64s) -> Float64s | None:
    """For each take the arrival on axis: on its own orbit, else on the other one."""
    on_axis = np.array([d.angle_deg == 0.0 for d in directions])
    if not on_axis.any():
        return None
    reference = np.full(len(directions), np.median(greatest_s[on_axis]))
    orbits = np.array([str(d.orbit) for d in directions])
    for orbit in np.unique(orbits[on_axis]):
        own = orbits == orbit
        reference[own] = np.median(greatest_s[own & on_axis])
    return reference


@dataclass(frozen=True)
class _Heard:
    """The envelope of a take's response, in which its direct sound is sought."""

    envelope: Float64s
    response: ImpulseResponse

    def peak_s(self, from_s: float, to_s: float) -> float:
        """Time of the envelope's greatest value in a window; NaN where that is no direct sound."""
        envelope, start_s = self.envelope, self.response.start_s
        rate, last = self.response.sample_rate_hz, float(envelope.size)
        first, stop = (round(float(np.clip((t - start_s) * rate, 0.0, last))) for t in (from_s, to_s))
        if first >= stop or envelope[first:stop].max() < envelope.max() * 10.0 ** (WEAKEST_DB / 20.0):
            return np.nan
        return start_s + arrival.peak_position(envelope, first, stop) / rate
