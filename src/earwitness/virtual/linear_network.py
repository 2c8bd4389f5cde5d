"""A source as a linear network about the coils of its large-signal drivers.

What such a driver does beyond the linear equations is two sources of its own: a voltage e in series with
its coil, against the current, and a force f on it. With w = −e + f·Zₑ/Bl beside the voltage U that the
branches give, the box moves as if the drivers had U + w, and the current is Y(U + w) − f/Bl, Y the drivers'
admittance (`enclosure`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.source import Source


@dataclass(frozen=True, slots=True)
class LinearNetwork:
    """What a source's network answers, at F frequencies.

    K large-signal drivers have 2K inputs, e (V) of each and then f (N) of each, beside the volts at the
    terminals, which come first; and 2K outputs, displacement (m) of each and then current (A) of each.

    Attributes
    ----------
    motor
        Shape (2K, 1 + 2K, F).
    volume_velocity
        Of each radiator, m³/s, shape (C, 1 + 2K, F).
    flux
        Z_L/s of each driver, henries, shape (K, F).
    """

    motor: Complexes
    volume_velocity: Complexes
    flux: Complexes


def linear_network(source: Source, frequencies: Floats, air: Air, output_ohm: float = 0.0) -> LinearNetwork:
    """The network about all drivers with large-signal facts; frequencies (F,), f > 0.

    `output_ohm` lies between the amplifier, whose volts come first, and a passive loudspeaker's terminals.
    """
    motions = [enclosure.motion(frequencies, air) for enclosure in source.enclosures]
    units = [unit for enclosure in source.enclosures for unit in enclosure.drive_units]
    large = [place for place, unit in enumerate(units) if unit.large_signal is not None]
    drivers, bins = len(units), len(frequencies)
    coil = np.stack([unit.coil.impedance(frequencies) for unit in units])
    factor = np.array([unit.force_factor for unit in units])
    beside = np.zeros((drivers, 1 + 2 * len(large), bins), dtype=np.complex128)
    shorted = np.zeros((drivers, 1 + 2 * len(large)))
    for column, place in enumerate(large, start=1):
        beside[place, column] = -1.0
        beside[place, column + len(large)] = coil[place] / factor[place]
        shorted[place, column + len(large)] = 1.0 / factor[place]
    admittance = source.admittance(motions)
    stray = np.einsum("def,ecf->dcf", admittance, beside) - shorted[..., None]
    ends = _branches(source, frequencies, admittance, stray, output_ohm)
    felt = beside + np.einsum("db,bcf->dcf", source.wiring, ends)
    current = np.einsum("def,ecf->dcf", admittance, felt) - shorted[..., None]
    displacement, volume, start = [], [], 0
    for motion in motions:
        own = felt[start : start + motion.admittance.shape[0]]
        displacement.append(np.einsum("edf,dcf->ecf", motion.displacement, own))
        volume.append(np.einsum("odf,dcf->ocf", motion.volume_velocity, own))
        start += len(own)
    moved = np.concatenate(displacement)
    resistance = np.array([[units[place].coil.resistance_ohm] for place in large])
    flux = (coil[large] - resistance) / (2j * np.pi * frequencies)
    return LinearNetwork(np.concatenate([moved[large], current[large]]), np.concatenate(volume), flux)


def _branches(
    source: Source, frequencies: Floats, admittance: Complexes, stray: Complexes, output_ohm: float
) -> Complexes:
    """Voltage at the end of each branch for each input, shape (B, 1 + 2K, F).

    With E at the ends, I = Y E + stray into them and a chain matrix each, a E + b I = h U and the terminals'
    voltage U = V − R Σ h (c E + d I): h is 1 or −1 where there is such a resistance R.
    """
    drive = np.stack([branch.transfer(frequencies) for branch in source.branches])
    given = np.zeros((len(source.branches), *stray.shape[1:]), dtype=np.complex128)
    given[:, 0] = drive
    if not output_ohm and not any(branch.ladder.steps for branch in source.branches):
        return given
    chains = np.stack([branch.ladder.chain(frequencies) for branch in source.branches])
    seen = np.einsum("db,def,ec->fbc", source.wiring, admittance, source.wiring)
    into = np.einsum("db,dcf->fbc", source.wiring, stray)
    a, b, c, d = (chains[..., row, column].T for row in (0, 1) for column in (0, 1))
    own = np.eye(len(source.branches))
    matrix = a[:, :, None] * own + b[:, :, None] * seen
    right = np.moveaxis(given, -1, 0) - b[:, :, None] * into
    if output_ohm:
        drop = output_ohm * drive.T[:, :, None] * drive.T[:, None, :]
        matrix = matrix + drop @ (c[:, :, None] * own + d[:, :, None] * seen)
        right = right - drop @ (d[:, :, None] * into)
    return np.moveaxis(np.linalg.solve(matrix, right), 0, -1)
