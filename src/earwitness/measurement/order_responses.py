"""The orders that a recording of a sweep holds, found while it is in memory, and kept beside its response."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import harmonics
from earwitness.acoustics.harmonics import Orders
from earwitness.acoustics.settling import unsettled_power
from earwitness.acoustics.sweep_law import SweepLaw, sweep_law
from earwitness.measurement.answers import Stimulus
from earwitness.records.grid import POINTS_PER_OCTAVE, derived_grid
from earwitness.records.takes import Take, TakeKind

Float32s = npt.NDArray[np.float32]
Float64s = npt.NDArray[np.float64]
Complex64s = npt.NDArray[np.complex64]

#: Orders that are told.
HIGHEST: Final = 10
#: Numbers at each frequency of each order: two complex ones, the noise's power, the unsettled part of
#: it, and whether it is valid.
_ROWS: Final = 7


@dataclass(frozen=True)
class OrderResponses:
    """Orders on the derived grid, in full scale RMS as they were recorded at their take's drive.

    `linear` (N, F) is the linear response at n·f through order n's window. `unsettled` (N, F) is the part of
    the orders' noise power that stands for what the sweep is too fast for (`settling.unsettled_power`).
    """

    orders: Orders
    linear: Complex64s
    unsettled: Float64s

    def to_array(self) -> Float32s:
        """All of it as numbers in a fixed order."""
        one = self.orders
        rows = [one.amplitude.real, one.amplitude.imag, self.linear.real, self.linear.imag]
        return np.stack([*rows, one.noise_power, self.unsettled, one.valid]).astype(np.float32).ravel()

    @classmethod
    def from_array(cls, values: npt.ArrayLike) -> OrderResponses:
        """What `to_array` wrote."""
        grid = derived_grid()
        found = np.asarray(values, dtype=np.float32).reshape(_ROWS, HIGHEST, grid.size)
        amplitude, linear = found[0] + 1j * found[1], found[2] + 1j * found[3]
        noise_power, valid = found[4].astype(np.float64), found[6] > 0.5
        orders = Orders(grid, np.arange(1, HIGHEST + 1), amplitude, noise_power, valid)
        return cls(orders, linear, found[5].astype(np.float64))


def order_values() -> int:
    """How many numbers an `OrderResponses` is."""
    return _ROWS * HIGHEST * derived_grid().size


def tells_orders(take: Take) -> bool:
    """Whether a take's distortion is looked at: it is a sweep on axis, or near a radiator."""
    key = take.key
    on_axis = key.kind is TakeKind.SWEEP and key.direction is not None and key.direction.angle_deg == 0.0
    return on_axis or key.kind is TakeKind.NEAR_FIELD


def orders_in(whole: Float32s, stimulus: Stimulus, at: int, quiet: Float32s | None = None) -> OrderResponses:
    """Orders in the whole circular response of one recording, whose linear part arrives at sample `at`.

    `quiet` is a recording of silence as the sweep would have it, where that tells the noise.
    """
    rate = float(stimulus.sample_rate_hz)
    law = law_of(stimulus)
    found = harmonics.separate(
        whole,
        rate,
        law=law,
        band_hz=stimulus.band_hz,
        at=at,
        frequency_hz=derived_grid(),
        highest=HIGHEST,
        silence=quiet,
    )
    scale = np.float32(stimulus.peak / np.sqrt(2.0))
    linear = harmonics.through_windows(whole, rate, law=law, at=at, orders=found)
    unsettled = unsettled_power(found, linear, law.rate_s, POINTS_PER_OCTAVE)
    told = replace(found, noise_power=found.noise_power + unsettled).scaled(scale)
    return OrderResponses(told, linear * scale, unsettled * float(scale) ** 2)


def law_of(stimulus: Stimulus) -> SweepLaw:
    """How a stimulus rises; worked out once for it."""
    return _law(_Same(stimulus))


class _Same:
    """A stimulus that equals itself alone, so that its law is worked out once."""

    def __init__(self, stimulus: Stimulus) -> None:
        self.stimulus: Final = stimulus

    def __hash__(self) -> int:
        return id(self.stimulus)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and other.stimulus is self.stimulus


@lru_cache(maxsize=2)
def _law(same: _Same) -> SweepLaw:
    one = same.stimulus
    return sweep_law(one.samples, one.sample_rate_hz, one.band_hz, one.rate_s)
