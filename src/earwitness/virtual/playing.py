"""A signal played through a loudspeaker at large signal: what air its radiators move.

The network between terminals and air is linear, and smooth enough to be known at some four thousand
frequencies, a thousandth apart; splines carry it to the bins. The motion is first found at a sixteenth of
the rate, where displacements live, from a quarter of the drive up where that is needed, and then at twice
the sample rate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft
from scipy.interpolate import CubicSpline

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.bodies import DriveUnit, Port
from earwitness.virtual.electronics import PLAIN, Electronics
from earwitness.virtual.heating import COLD, Rise
from earwitness.virtual.linear_network import LinearNetwork, linear_network
from earwitness.virtual.source import Source
from earwitness.virtual.steady_state import (
    Coil,
    NoSteadyStateError,
    Period,
    SteadyMotion,
    Warming,
    steady_motion,
)

#: Products are formed at so many times the sample rate; displacements found first at 1/COARSER of that.
FINER: Final = 2
COARSER: Final = 16
#: The grid: frequencies KNEE_HZ·sinh(n·STEP), a thousandth apart above the knee; its lowest stands for 0 Hz.
KNEE_HZ: Final = 200.0
STEP: Final = 0.0015
STILL_HZ: Final = 1e-3
#: A drive too large to begin with is come to in these shares.
APPROACH: Final = (0.25, 0.4, 0.55, 0.7, 0.8, 0.9, 1.0)
#: Steps that are mixed on that way.
PATIENT: Final = 40

#: Where no driver is large, none moves by itself.
NOTHING_LARGE: Final = SteadyMotion(
    np.zeros((0, 1, 0)), np.zeros((0, 1, 0)), np.zeros((0, 1, 0), dtype=np.complex128), np.zeros(1), 0
)


@dataclass(frozen=True, slots=True)
class Played:
    """A period of N samples.

    Attributes
    ----------
    volume_velocity
        Of each radiator, m³/s, spectra as of `scipy.fft.rfft`, (C, N//2 + 1).
    volts
        At the terminals, (N,).
    displacement, current
        Of each large-signal driver at twice the rate, metres and amperes, (K, 2N).
    kelvins
        Rise of each one's coil at twice the rate, (K, 2N).
    rises
        Of each one's coil and magnet at the end.
    """

    volume_velocity: Complexes
    volts: Floats
    displacement: Floats
    current: Floats
    kelvins: Floats
    rises: tuple[Rise, ...]


@dataclass(frozen=True, slots=True)
class Player:
    """A source that is played large, behind electronics and their resistance (`Chain.output_ohm`)."""

    source: Source
    air: Air
    sample_rate_hz: int
    electronics: Electronics = PLAIN
    output_ohm: float = 0.0

    @property
    def units(self) -> tuple[DriveUnit, ...]:
        """The drivers with large-signal facts."""
        each = (unit for box in self.source.enclosures for unit in box.drive_units)
        return tuple(unit for unit in each if unit.large_signal is not None)

    def period_samples(self, count: int) -> int:
        """A period's length that holds so many samples and can be shortened."""
        return COARSER * scipy.fft.next_fast_len(-(-count // COARSER), real=True)

    def play(self, signal: Floats, rises: Sequence[Rise] | None = None) -> Played:
        """Play a signal, volts (N,), N from `period_samples`; coils start as warm as `rises` says.

        Raises
        ------
        NoSteadyStateError
            Where the drive is too large.
        """
        volts = self.electronics.played(signal, self.sample_rate_hz)
        period = self._period(len(signal))
        spectrum = np.zeros((1, period.samples // 2 + 1), dtype=np.complex128)
        spectrum[0, : len(signal) // 2 + 1] = FINER * scipy.fft.rfft(volts)
        start = tuple(COLD for _ in self.units) if rises is None else tuple(rises)
        motion = self._motion(period, spectrum, start) if self.units else NOTHING_LARGE
        kelvins, ends = self._rises(motion.current[:, 0], FINER * self.sample_rate_hz, start)
        answer = period.network.volume_velocity[:, 0] * spectrum
        for number, source in enumerate(motion.sources[:, 0], start=1):
            answer += period.network.volume_velocity[:, number] * source
        heard = answer[:, : len(signal) // 2 + 1] / FINER
        return Played(heard, volts, motion.displacement[:, 0], motion.current[:, 0], kelvins, ends)

    @property
    def plain(self) -> bool:
        """Whether nothing of it is anything but linear."""
        return not self.units and not self.noisy_ports and self.electronics == PLAIN

    def port_noise(self, played: Played, generator: np.random.Generator) -> Complexes:
        """What ports add to `Played.volume_velocity`, same shape."""
        found = np.zeros_like(played.volume_velocity)
        names = self.source.radiators
        for port in self.noisy_ports:
            place = names.index(port.name)
            speed = scipy.fft.irfft(played.volume_velocity[place], len(played.volts)) / port.area_m2
            assert port.noise is not None
            found[place] = port.noise.volume_velocity(
                speed, port.diameter_m, self.sample_rate_hz, self.air, generator
            )
        return found

    @property
    def noisy_ports(self) -> tuple[Port, ...]:
        """Ports whose air can be heard streaming."""
        return tuple(port for box in self.source.enclosures for port in box.ports if port.noise is not None)

    def _motion(self, period: Period, spectrum: Complexes, start: tuple[Rise, ...]) -> SteadyMotion:
        coarse = period.shortened(COARSER)
        slow = spectrum[:, : coarse.samples // 2 + 1] / COARSER
        rate = FINER * self.sample_rate_hz
        warm = self._warming(rate / COARSER, start)
        try:
            found = steady_motion(coarse, slow, warming=warm)
        except NoSteadyStateError:
            sources = None
            for share, after in zip(APPROACH, (*APPROACH[1:], APPROACH[-1]), strict=True):
                found = steady_motion(coarse, share * slow, warming=warm, start=sources, depth=PATIENT)
                sources = found.sources * (after / share)
        begun = np.zeros((len(found.sources), *spectrum.shape), dtype=np.complex128)
        begun[..., : coarse.samples // 2 + 1] = COARSER * found.sources
        return steady_motion(period, spectrum, warming=self._warming(rate, start), start=begun)

    def _warming(self, rate_hz: float, start: tuple[Rise, ...]) -> Warming | None:
        if all(unit.heating is None for unit in self.units):
            return None

        def warm(current: Floats) -> Floats:
            kelvins, _ = self._rises(current[:, 0], rate_hz, start)
            ohms = [
                unit.coil.resistance_ohm * (unit.heating.resistance_share(rise) - 1.0)
                if unit.heating
                else np.zeros_like(rise)
                for unit, rise in zip(self.units, kelvins, strict=True)
            ]
            return np.stack(ohms)[:, None]

        return warm

    def _rises(
        self, current: Floats, rate_hz: float, start: tuple[Rise, ...]
    ) -> tuple[Floats, tuple[Rise, ...]]:
        kelvins, ends = np.zeros_like(current), []
        for place, (unit, begun) in enumerate(zip(self.units, start, strict=True)):
            end = begun
            if unit.heating is not None:
                kelvins[place], end = unit.heating.rises(
                    current[place], unit.coil.resistance_ohm, rate_hz, begun
                )
            ends.append(end)
        return kelvins, tuple(ends)

    def _period(self, samples: int) -> Period:
        fine = FINER * samples
        bins = scipy.fft.rfftfreq(fine, 1.0 / (FINER * self.sample_rate_hz))
        grid = KNEE_HZ * np.sinh(STEP * np.arange(np.ceil(np.arcsinh(bins[-1] / KNEE_HZ) / STEP) + 1))
        grid[0] = STILL_HZ
        known = linear_network(self.source, grid, self.air, self.output_ohm)
        network = LinearNetwork(
            *(
                CubicSpline(grid, each, axis=-1)(bins)
                for each in (known.motor, known.volume_velocity, known.flux)
            )
        )
        return Period(network, tuple(map(Coil.of, self.units)), 2.0 * np.pi * bins, fine)


class Playing:
    """A stimulus at one drive after the other; what was played once is kept.

    Parameters
    ----------
    player
        What plays it.
    samples, peak
        The stimulus re full scale, and the amplitude at which a steady sine has the drive's volts RMS.
    count
        Samples that are recorded of it.
    pause_s
        Between two takes of a series.
    """

    def __init__(self, player: Player, samples: Floats, peak: float, count: int, pause_s: float) -> None:
        self._player, self._count, self._pause_s = player, count, pause_s
        whole = np.zeros(player.period_samples(count))
        whole[: len(samples)] = samples * (np.sqrt(2.0) / peak)
        self._volt = whole
        self._cold: dict[float, Played] = {}
        self._series: dict[tuple[float, ...], Played] = {}

    def at(self, drive_v: float) -> Played:
        """With cold coils."""
        if drive_v not in self._cold:
            self._cold[drive_v] = self._player.play(drive_v * self._volt)
        return self._cold[drive_v]

    def after(self, drives: tuple[float, ...], drive_v: float) -> Played:
        """As that one of a series of drives, each of which warms the coils for the next."""
        upto = drives[: drives.index(drive_v) + 1]
        if len(upto) == 1 or not any(unit.heating for unit in self._player.units):
            return self.at(drive_v)
        if upto not in self._series:
            before = self.after(drives, upto[-2]).rises
            cooled = [
                COLD if unit.heating is None else unit.heating.cooled(rise, self._pause_s)
                for unit, rise in zip(self._player.units, before, strict=True)
            ]
            self._series[upto] = self._player.play(drive_v * self._volt, cooled)
        return self._series[upto]

    def heard(self, volume_velocity: Complexes, responses: Floats) -> Floats:
        """What is recorded (N,) of radiators' spectra, each through its own response (C, M)."""
        period = len(self._volt)
        total = np.einsum("cf,cf->f", volume_velocity, scipy.fft.rfft(responses, period, axis=-1))
        return np.asarray(scipy.fft.irfft(total, period)[: self._count])
