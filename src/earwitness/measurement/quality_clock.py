"""When sound arrives in each take against geometry, and against the takes beside it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival
from earwitness.measurement.flight import BAND_HZ, WEAKEST_DB, WINDOW_S
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.takes import Direction

Float64s = npt.NDArray[np.float64]

#: An arrival is sought in a stretch of so many seconds about its place by geometry.
STRETCH_S: Final = 0.02
#: The takes beside one that it is held against: so many to each side.
BESIDE: Final = 2


def lateness_s(
    directions: Sequence[Direction],
    responses: Sequence[ImpulseResponse],
    distance_m: float,
    rotation_behind_m: float,
    speed_m_s: float,
) -> Float64s:
    """By how much each of R arrivals comes later than geometry has it re that on axis, shape (R,).

    Where no sound lies near its place by geometry, it is the greatest peak's time that counts. NaN where
    there is no take on axis.
    """
    peaks = np.array([_greatest_s(r) for r in responses])
    angles = np.array([d.angle_deg for d in directions])
    if not (angles == 0.0).any():
        return np.full(len(responses), np.nan)
    mount = Turntable(distance_m, rotation_behind_m)
    place = np.asarray((mount.distances_m(angles) - distance_m) / speed_m_s)
    axis = float(np.median(peaks[angles == 0.0]))
    found = _found_s(responses, axis + place, peaks)
    axis = float(np.median(found[angles == 0.0]))
    return np.asarray(found - place - axis)


def jumps_s(directions: Sequence[Direction], late_s: Float64s) -> Float64s:
    """By how much each take is later than those beside it on its orbit, shape (R,).

    Beside it are two to each side (the orbit closes), and repeats; against their median. NaN where there are
    fewer than two.
    """
    jumps = np.full(len(directions), np.nan)
    for orbit in {d.orbit for d in directions}:
        rows = sorted(
            (i for i, d in enumerate(directions) if d.orbit is orbit), key=lambda i: directions[i].angle_deg
        )
        count = len(rows)
        for place, row in enumerate(rows):
            beside = {rows[(place + k) % count] for k in range(-BESIDE, BESIDE + 1)} - {row}
            near = [
                i for i in beside if _apart_deg(directions[i].angle_deg, directions[row].angle_deg) <= 45.0
            ]
            if len(near) > 1:
                jumps[row] = late_s[row] - float(np.median(late_s[near]))
    return jumps


def _apart_deg(one: float, other: float) -> float:
    return abs((one - other + 180.0) % 360.0 - 180.0)


def _greatest_s(response: ImpulseResponse) -> float:
    return response.start_s + int(np.argmax(np.abs(response.samples))) / response.sample_rate_hz


def _found_s(responses: Sequence[ImpulseResponse], near_s: Float64s, greatest_s: Float64s) -> Float64s:
    """Arrivals near their places by geometry, (R,); the greatest peak's where there is no such sound."""
    found = greatest_s.copy()
    first = [
        max(round((near - 0.5 * STRETCH_S - r.start_s) * r.sample_rate_hz), 0)
        for r, near in zip(responses, near_s, strict=True)
    ]
    alike: dict[float, list[int]] = {}
    for row, response in enumerate(responses):
        if first[row] + round(STRETCH_S * response.sample_rate_hz) <= response.samples.size:
            alike.setdefault(response.sample_rate_hz, []).append(row)
    for rate, rows in alike.items():
        count = round(STRETCH_S * rate)
        stretches = np.stack([responses[row].samples[first[row] : first[row] + count] for row in rows])
        for row, curve in zip(rows, arrival.envelope(stretches, rate, BAND_HZ), strict=True):
            start_s = responses[row].start_s + first[row] / rate
            low, high = (
                int(np.clip((near_s[row] + t - start_s) * rate, 0, count))
                for t in (-WINDOW_S[0], WINDOW_S[1])
            )
            peak = float(np.max(np.abs(responses[row].samples)))
            if low < high and curve[low:high].max() >= peak * 10.0 ** (WEAKEST_DB / 20.0):
                found[row] = start_s + arrival.peak_position(curve, low, high) / rate
    return found
