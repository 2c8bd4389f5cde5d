"""The flight of the direct sound: when it arrives in each take, and about which point the unit turns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival
from earwitness.measurement.deconvolution import ImpulseResponse
from earwitness.measurement.geometry import Turntable, fitted_rotation_m
from earwitness.records.takes import Direction

Float64s = npt.NDArray[np.float64]

#: The arrival is sought in this band, where sound bends round a cabinet and is still short in time.
BAND_HZ: Final = (700.0, 8_000.0)
#: So long before and after its place by geometry, where the rotation point is stated and where it isn't:
#: behind the cabinet sound comes later.
WINDOW_S: Final = (3e-4, 1.2e-3)
WIDE_WINDOW_S: Final = (8e-4, 2.2e-3)
#: Direct sound is no weaker than this re the greatest peak of its own take; else clocks aren't shared.
WEAKEST_DB: Final = -20.0


@dataclass(frozen=True)
class Flight:
    """Where the microphone stood and when sound arrived.

    `arrival_s` (R,) is re the stimulus' start, for sound that comes straight from the reference point; the
    sound that has to bend round the cabinet comes a little later.
    """

    turntable: Turntable
    arrival_s: Float64s
    notes: tuple[str, ...]


def find_flight(
    directions: Sequence[Direction],
    responses: Sequence[ImpulseResponse],
    distance_m: float,
    rotation_behind_m: float | None,
    speed_m_s: float,
) -> Flight:
    """Arrivals of R takes by geometry, from those found on axis, and the rotation point.

    Each take's own arrival is sought near its place by geometry. Where one isn't there, recordings don't
    share a clock, and every take keeps its own greatest peak.
    """
    angles = np.array([d.angle_deg for d in directions])
    envelopes = [arrival.envelope(r.samples, r.sample_rate_hz, BAND_HZ) for r in responses]
    greatest = np.array([_peak_s(e, r, -np.inf, np.inf) for e, r in zip(envelopes, responses, strict=True)])
    on_axis = _on_axis_s(directions, greatest)
    mount = Turntable(distance_m, rotation_behind_m or 0.0)
    if on_axis is None:
        note = "There is no take on axis; each take's arrival was found by itself."
        return Flight(mount, greatest, (note, *_assumed(angles, rotation_behind_m)))
    before, after = WINDOW_S if rotation_behind_m is not None else WIDE_WINDOW_S
    expected = on_axis + (mount.distances_m(angles) - distance_m) / speed_m_s
    found = np.array(
        [
            _peak_s(e, r, at - before, at + after)
            for e, r, at in zip(envelopes, responses, expected, strict=True)
        ]
    )
    if np.isnan(found).any():
        note = "The recordings don't share a clock; each take's arrival was found by itself."
        return Flight(mount, greatest, (note, *_assumed(angles, rotation_behind_m)))
    if rotation_behind_m is None:
        fitted = fitted_rotation_m(angles, (found - on_axis) * speed_m_s, distance_m)
        if fitted is None:
            return Flight(mount, expected, _assumed(angles, None))
        mount = Turntable(distance_m, fitted)
        expected = on_axis + (mount.distances_m(angles) - distance_m) / speed_m_s
        note = "The rotation point isn't stated; it was found from the times of flight in front."
        return Flight(mount, expected, (note,))
    return Flight(mount, expected, ())


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


def _peak_s(envelope: Float64s, response: ImpulseResponse, from_s: float, to_s: float) -> float:
    """Time of the envelope's greatest value in a window; NaN where that is no direct sound."""
    rate, last = response.sample_rate_hz, float(envelope.size)
    first, stop = (round(float(np.clip((t - response.start_s) * rate, 0.0, last))) for t in (from_s, to_s))
    if first >= stop or envelope[first:stop].max() < envelope.max() * 10.0 ** (WEAKEST_DB / 20.0):
        return np.nan
    return response.start_s + arrival.peak_position(envelope, first, stop) / rate
