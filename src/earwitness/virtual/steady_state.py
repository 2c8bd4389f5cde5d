"""The motion of large-signal drivers under a periodic voltage, found in the frequency domain all at once.

The linear network answers exactly, inductances of eddy currents and standing waves included, whatever
sources e and f the drivers put into it; the sources follow from its answer, sample by sample. The fixed
point of the two is found by Anderson's mixing (J. ACM 12 (4), 1965; recalled) of the last few steps: where
plain iteration would run away, since a suspension stiffens to several times its rest, the mixing still
converges. A record with silence at its end is a period like any other.

Products are formed at `samples` to the period. Choose them so that the period's rate is twice that of the
recording: whatever lies above the band then folds only from three times it, where a displacement has nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import scipy.fft

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.linear_network import LinearNetwork

#: What is left of the sources' change between two steps, re the force that the voltage alone would give.
TOLERANCE: Final = 1e-6
#: Steps that are mixed, and the most steps before it is given up.
DEPTH: Final = 8
MOST_STEPS: Final = 200
#: An iteration that runs so far comes to nothing.
FURTHEST_M: Final = 1.0


class NoSteadyStateError(ValueError):
    """The drivers find no steady motion at this drive."""


@dataclass(frozen=True, slots=True)
class Coil:
    """A large-signal driver's parameters at rest: resistance, Bl, stiffness, and how the last two change."""

    resistance_ohm: float
    force_factor: float
    stiffness: float
    large_signal: LargeSignal

    @classmethod
    def of(cls, unit: DriveUnit) -> Coil:
        """That of a driver."""
        if unit.large_signal is None:
            raise ValueError(f"{unit.name} has no large-signal facts")
        return cls(unit.coil.resistance_ohm, unit.force_factor, unit.stiffness, unit.large_signal)


@dataclass(frozen=True, slots=True)
class SteadyMotion:
    """A period of K drivers: time series of shape (K, B, N), and the sources' spectra.

    Attributes
    ----------
    displacement, current
        Metres outward, amperes.
    sources
        e of each driver and then f of each, spectra as `scipy.fft.rfft` gives them, shape (2K, B, N//2 + 1).
    warming
        Of each coil, ohms above its resistance at rest, shape (K, B, N) or one that broadcasts to it.
    steps
        How many it took.
    """

    displacement: Floats
    current: Floats
    sources: Complexes
    warming: Floats
    steps: int


#: What warms coils: from each driver's current (K, B, N) to ohms above its resistance at rest.
Warming = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Period:
    """B periods at once, each for itself.

    Attributes
    ----------
    network
        At the bins of the period, whose first is 0 Hz (its limit): shapes end in (N//2 + 1,), or in
        (B, N//2 + 1) where the periods differ.
    coils
        Of the K large-signal drivers.
    omega
        Angular frequency of the bins, (N//2 + 1,) or (B, N//2 + 1).
    samples
        N.
    """

    network: LinearNetwork
    coils: tuple[Coil, ...]
    omega: Floats
    samples: int

    def shortened(self, share: int) -> Period:
        """The same period at a rate that is `share` times lower."""
        bins = self.samples // share // 2 + 1
        network = LinearNetwork(
            self.network.motor[..., :bins],
            self.network.volume_velocity[..., :bins],
            self.network.flux[..., :bins],
        )
        return Period(network, self.coils, self.omega[..., :bins], self.samples // share)


def steady_motion(
    period: Period,
    volts: Complexes,
    *,
    warming: Warming | None = None,
    start: Complexes | None = None,
    tolerance: float = TOLERANCE,
    depth: int = DEPTH,
) -> SteadyMotion:
    """Solve for the motion under `volts` at the terminals, spectra (B, N//2 + 1).

    `start` are sources to start from, as `SteadyMotion` has them; none where None. `depth` is how many steps
    are mixed: more take memory, and reach further.

    Raises
    ------
    NoSteadyStateError
        Where no fixed point is found in `MOST_STEPS`.
    """
    count, width = len(period.coils), volts.shape[-1]
    network = period.network.motor
    motor = np.broadcast_to(
        network.reshape(*network.shape[:2], -1, width), (2 * count, 1 + 2 * count, *volts.shape)
    )
    scale = np.array([coil.force_factor / coil.resistance_ohm for coil in period.coils] + [1.0] * count)
    weight = scale[:, None, None]
    driven = motor[:, 0] * volts
    norm = np.sqrt(np.sum(np.abs(volts) ** 2, axis=-1)) * max(scale[:count])
    mixing = _Mixing(depth)
    sources = np.zeros((2 * count, *volts.shape), dtype=np.complex128) if start is None else start
    for step in range(1, MOST_STEPS + 1):
        answer = driven.copy()
        for column in range(2 * count):
            answer += motor[:, 1 + column] * sources[column]
        time = scipy.fft.irfft(answer, period.samples, axis=-1)
        if not np.max(np.abs(time[:count])) < FURTHEST_M:
            break
        warm = np.zeros(1) if warming is None else warming(time[count:])
        found = _sources(period, time, answer[count:], warm)
        change = found - sources
        left = np.sqrt(np.sum(np.abs(change * weight) ** 2, axis=(0, -1)))
        if (left <= tolerance * norm).all():
            return SteadyMotion(time[:count], time[count:], found, warm, step)
        sources = mixing.next(sources * weight, change * weight) / weight
    raise NoSteadyStateError(
        f"no steady motion found in {step} steps; lower the drive, or soften what stops the coil"
    )


def _sources(period: Period, time: Floats, current: Complexes, warm: Floats) -> Complexes:
    """Spectra of what the drivers put into the network when they move so."""
    count, samples, s = len(period.coils), period.samples, 1j * period.omega
    flux = period.network.flux.reshape(count, -1, current.shape[-1])
    found = np.empty((2 * count, *current.shape[1:]), dtype=np.complex128)
    warm_ohms = np.broadcast_to(warm, time[count:].shape) if warm.any() else None
    for k, coil in enumerate(period.coils):
        x, i, large = time[k], time[count + k], coil.large_signal
        force = coil.force_factor * (large.force_share(x) - 1.0) * i
        force -= coil.stiffness * (large.stiffness_share(x) - 1.0) * x
        if large.contact_m is not None:
            force += large.contact_force(x)
        linked = coil.force_factor * (large.force_area(x) - x)
        if large.bends_flux:
            turns, slope = large.flux_turns(x)
            inside = scipy.fft.irfft(flux[k] * scipy.fft.rfft(turns * i, axis=-1), samples, axis=-1)
            force += slope * inside * i
            found[k] = s * (scipy.fft.rfft(linked + turns * inside, axis=-1) - flux[k] * current[k])
        else:
            found[k] = s * scipy.fft.rfft(linked, axis=-1)
        if warm_ohms is not None:
            found[k] += scipy.fft.rfft(warm_ohms[k] * i, axis=-1)
        found[count + k] = scipy.fft.rfft(force, axis=-1)
    return found


class _Mixing:
    """Anderson's mixing of vectors (..., B, M), for each of B by itself."""

    def __init__(self, depth: int) -> None:
        self.depth = depth
        self.before: tuple[Complexes, Complexes] | None = None
        self.moves: list[tuple[Complexes, Complexes]] = []
        self.products = np.zeros((0, 0, 0))

    def next(self, here: Complexes, change: Complexes) -> Complexes:
        """Where to go from `here`, where a plain step would add `change`."""
        if self.before is not None:
            self.moves.append((here - self.before[0], change - self.before[1]))
            self.moves = self.moves[-self.depth :]
            self._update()
        self.before = (here, change)
        if not self.moves:
            return np.asarray(here + change)
        along = np.stack([_dot(move[1], change) for move in self.moves], axis=-1)
        trace = np.trace(self.products, axis1=1, axis2=2)[:, None, None]
        bound = self.products + (1e-13 * trace + 1e-300) * np.eye(len(self.moves))
        share = np.linalg.solve(bound, along[..., None])[..., 0]
        there = here + change
        for number, (move, turn) in enumerate(self.moves):
            there -= share[:, number, None] * (move + turn)
        return there

    def _update(self) -> None:
        """Scalar products of all changes, of which only the last row is new."""
        size = len(self.moves)
        kept = self.products
        row = np.stack([_dot(move[1], self.moves[-1][1]) for move in self.moves], axis=-1)
        self.products = np.zeros((len(row), size, size))
        if size > 1:
            self.products[:, :-1, :-1] = kept[:, -(size - 1) :, -(size - 1) :]
        self.products[:, -1], self.products[:, :, -1] = row, row


def _dot(one: Complexes, other: Complexes) -> Floats:
    return np.asarray(np.einsum("k...m,k...m->...", one.conj(), other, optimize=False).real)
