"""Several takes at one drive: the mean of their orders, and what they scatter by.

Orders of different takes arrive apart by parts of a sample. So each is turned by as much as its linear
response at the same frequency is turned against the first take's, and then the mean is one of amplitudes, in
which noise falls as 1/√M. The noise that is stated is what the takes scatter by (type A, JCGM 100, 4.2;
recalled), and never less than what the recordings' own stretches of noise tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.smoothing import smooth_power
from earwitness.measurement.order_responses import OrderResponses
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.takes import Take

Float64s = npt.NDArray[np.float64]

#: A take whose mean level differs by more isn't the same state: a coil that was warm, a microphone moved.
AGREE_DB: Final = 0.1
#: Scatter is a mean over a sixth of an octave.
FRACTION: Final = 6


def alike(first: Take, other: Take) -> bool:
    """Whether two takes of one drive differ by their repeat alone."""
    return (
        replace(first.key, repeat=other.key.repeat) == other.key
        and first.distance_m == other.distance_m
        and first.stimulus == other.stimulus
    )


def agrees(first: OrderResponses, other: OrderResponses) -> bool:
    """Whether the mean level of the fundamental from 300 Hz to 3 kHz is the same within `AGREE_DB`."""
    low, high = SENSITIVITY_BAND_HZ
    f = first.orders.frequency_hz
    inside = (f >= low) & (f <= high) & first.orders.valid[0] & other.orders.valid[0]
    if not inside.any():
        return False
    one, two = (
        float(np.mean(np.abs(each.orders.amplitude[0, inside]).astype(np.float64) ** 2))
        for each in (first, other)
    )
    return one > 0.0 and two > 0.0 and abs(10.0 * np.log10(two / one)) <= AGREE_DB


def averaged(takes: Sequence[OrderResponses]) -> OrderResponses:
    """The mean of M takes at one drive, valid where all are; one take is itself.

    The linear response stays the first one's. What the sweep is too fast for is alike in all, and doesn't
    fall with their number.
    """
    first, count = takes[0], len(takes)
    if count == 1:
        return first
    turned = np.stack([one.orders.amplitude * _turn(first, one) for one in takes]).astype(np.complex128)
    valid = np.logical_and.reduce([one.orders.valid for one in takes])
    mean = turned.mean(axis=0)
    size = np.abs(mean)
    along = ((turned - mean) * np.conj(mean)).real / np.where(size > 0.0, size, 1.0)
    # in phase with the mean, as what changes a level is: half of a noise's power
    scatter = 2.0 * np.sum(along**2, axis=0) / (count - 1)
    spread, known = smooth_power(scatter, valid, FRACTION, POINTS_PER_OCTAVE)
    unsettled = np.mean([one.unsettled for one in takes], axis=0)
    quiet = np.mean([one.orders.noise_power - one.unsettled for one in takes], axis=0)
    own = np.where(known, np.fmax(quiet, spread), quiet)
    orders = replace(
        first.orders,
        amplitude=mean.astype(np.complex64),
        noise_power=own / count + unsettled,
        valid=valid,
    )
    return OrderResponses(orders, first.linear, unsettled)


def _turn(first: OrderResponses, other: OrderResponses) -> npt.NDArray[np.complexfloating]:
    """What turns a take's orders so that its linear response is in phase with the first's, (N, F)."""
    turn = first.linear * np.conj(other.linear)
    size = np.abs(turn)
    return np.where(size > 0.0, turn / np.where(size > 0.0, size, 1.0), 1.0)
