"""Steady tones at large signal: each order's level on axis, by frequency and drive.

Every tone is a period of its own, solved at its harmonics alone, where sweeps are solved on all bins of a
long record: what a sweep shows is held against another computation. Coils are cold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.electronics import Electronics
from earwitness.virtual.linear_network import LinearNetwork, linear_network
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.playing import APPROACH, PATIENT, STILL_HZ
from earwitness.virtual.steady_state import Coil, NoSteadyStateError, Period, SteadyMotion, steady_motion

#: Samples to a period: harmonics up to the 32nd.
SAMPLES: Final = 64
#: Orders that are told, the fundamental first.
ORDERS: Final = (1, 2, 3, 4, 5)
#: What is left of the sources' change; harmonics further below the fundamental than FLOOR_DB aren't told.
TOLERANCE: Final = 1e-8
FLOOR_DB: Final = 120.0
#: Orders above it aren't told.
HIGHEST_HZ: Final = 20_000.0


@dataclass(frozen=True, slots=True)
class Tones:
    """A loudspeaker that is asked for steady tones of some frequencies (F,), heard at points (1, 3)."""

    loudspeaker: Loudspeaker
    electronics: Electronics
    air: Air
    frequencies: Floats
    points: Floats

    def volume_velocities(self, drives_v: Sequence[float]) -> list[Complexes]:
        """Of each radiator and order at each drive, m³/s RMS, (C, O, F).

        Drives rise: each starts from where the one before came to.

        Raises
        ------
        NoSteadyStateError
            Where a drive is too large for some tone.
        """
        period = self._period()
        found: list[Complexes] = []
        sources: Complexes | None = None
        before = 1.0
        for drive in drives_v:
            spectrum = self._volts(drive)
            begun = None if sources is None else sources * (drive / before)
            moved = period.network.volume_velocity[:, 0] * spectrum
            if period.coils:
                sources, before = _come_to(period, spectrum, begun).sources, drive
                moved = moved + np.einsum("csbf,sbf->cbf", period.network.volume_velocity[:, 1:], sources)
            found.append(np.moveaxis(moved[..., list(ORDERS)], -1, 1) * (np.sqrt(2.0) / SAMPLES))
        return found

    def pressures(self, volume_velocities: Sequence[Complexes]) -> list[Complexes]:
        """Of each order, Pa RMS, (O, F); 0 where an order lies above `HIGHEST_HZ`."""
        asked = np.outer(ORDERS, self.frequencies)
        heard = asked <= HIGHEST_HZ
        flat = self.loudspeaker.cabinet.transfer(self.points, asked[heard], self.air)[:, 0]
        radiated = np.zeros((len(flat), *asked.shape), dtype=np.complex128)
        radiated[:, heard] = flat
        return [np.asarray(np.einsum("cof,cof->of", each, radiated)) for each in volume_velocities]

    def linear(self, drive_v: float) -> Complexes:
        """The fundamental's pressure of the same loudspeaker if it were linear, (F,)."""
        return np.asarray(self.loudspeaker.pressure(self.points, self.frequencies, drive_v, self.air)[0])

    def _volts(self, drive_v: float) -> Complexes:
        wave = self.electronics.tone(drive_v * np.sqrt(2.0), SAMPLES)
        return np.asarray(np.tile(scipy.fft.rfft(wave), (len(self.frequencies), 1)))

    def _period(self) -> Period:
        harmonics = np.arange(SAMPLES // 2 + 1)
        bins = np.outer(self.frequencies, harmonics)
        asked = np.where(bins == 0.0, STILL_HZ, bins)
        source = self.loudspeaker.source
        flat = linear_network(source, asked.ravel(), self.air)
        network = LinearNetwork(
            flat.motor.reshape(*flat.motor.shape[:2], *bins.shape),
            flat.volume_velocity.reshape(*flat.volume_velocity.shape[:2], *bins.shape),
            flat.flux.reshape(-1, *bins.shape),
        )
        units = [unit for box in source.enclosures for unit in box.drive_units if unit.large_signal]
        return Period(network, tuple(map(Coil.of, units)), 2.0 * np.pi * bins, SAMPLES)


def _come_to(period: Period, spectrum: Complexes, begun: Complexes | None) -> SteadyMotion:
    """The motion, by way of lesser drives where it isn't found at once."""
    try:
        return steady_motion(period, spectrum, start=begun, tolerance=TOLERANCE, depth=PATIENT)
    except NoSteadyStateError:
        sources = None
    for share, after in zip(APPROACH, (*APPROACH[1:], APPROACH[-1]), strict=True):
        motion = steady_motion(period, share * spectrum, start=sources, tolerance=TOLERANCE, depth=PATIENT)
        sources = motion.sources * (after / share)
    return motion
