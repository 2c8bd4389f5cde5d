"""Seeded draws of the takes' errors, and what becomes of weighted means under them.

The total is drawn in blocks of a few draws and in single precision: a block of all takes stays in the cache.
Each component has a random stream of its own, so that stating one more leaves the others as they were. Random
numbers that are shared over frequency are centred, scaled to unit variance and made orthogonal between the
components, so that with few draws, too, the spread of a stated 0.2 dB is 0.2 dB.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.uncertainty import TakeErrors, shared_part
from earwitness.records.grid import Floats
from earwitness.records.uncertainty import SHARING, ComponentName

DRAWS: Final = 128
SEED: Final = 20_150
#: Octaves in which the correlation of the microphone's error falls to 1/e.
MICROPHONE_OCTAVES: Final = 1.0
#: Draws made at a time.
BLOCK: Final = 4

Singles = npt.NDArray[np.float32]

_NEPER_PER_DB: Final = np.float32(np.log(10.0) / 10.0)
_STREAMS: Final = {name: i for i, name in enumerate(ComponentName)}
#: The stream of noise that takes share through a common near-field take.
_COMMON_STREAM: Final = len(_STREAMS)
#: Components that vary over frequency as fast as the gate lets them, and from take to take.
_LOCAL: Final = (ComponentName.NOISE, ComponentName.REPEAT)


@dataclass(frozen=True)
class Drawn:
    """N draws.

    Attributes
    ----------
    power
        Shape (N, C, F): the weighted means.
    error_db
        Shape (N, T, F'): the takes' errors at every n-th frequency.
    """

    power: Singles
    error_db: Singles


def draw(errors: TakeErrors, power: Floats, weights: Floats, every: int) -> Drawn:
    """Draw the errors of all takes and form the weighted means under them.

    Parameters
    ----------
    power
        Mean square pressure of the takes, shape (T, F).
    weights
        Shape (C, T).
    every
        `Drawn.error_db` keeps every n-th frequency.
    """
    takes, points = power.shape
    single_power = power.astype(np.float32)
    single_weights = weights.astype(np.float32)
    means = np.empty((DRAWS, len(weights), points), dtype=np.float32)
    kept = np.empty((DRAWS, takes, len(range(0, points, every))), dtype=np.float32)
    shared = _shared_terms(errors)
    local = _LocalField(errors)
    for start in range(0, DRAWS, BLOCK):
        stop = min(start + BLOCK, DRAWS)
        error = local.draw(stop - start)
        for factor, standard in shared:
            error += factor[start:stop] * standard
        kept[start:stop] = error[..., ::every]
        error *= _NEPER_PER_DB
        np.exp(error, out=error)
        error *= single_power
        np.matmul(single_weights, error, out=means[start:stop])
    return Drawn(means, kept)


def draw_component_db(errors: TakeErrors, name: ComponentName, sensitivity: Floats) -> Floats | None:
    """Draws of one component's error on a curve, dB, shape (N, F); None where it isn't known.

    To first order: the takes' errors along the curve's `sensitivity` (T, F) to each. Of errors that are
    independent from take to take the sum is drawn, with the correlation of the longest gate.
    """
    standard = errors.standard_db[name]
    if standard is None or not errors.known(name, sensitivity):
        return None
    spread = sensitivity * standard
    if name in _LOCAL:
        common = shared_part(errors, name, spread)
        own = spread if common is None else spread - common
        draws = _over_gate(errors, _STREAMS[name]) * np.sqrt((own**2).sum(axis=0))
        if common is not None:
            draws = draws + _over_gate(errors, _COMMON_STREAM) * common.sum(axis=0)
        return np.asarray(draws)
    if name is ComponentName.GATE:
        return np.asarray(_over_gate(errors, _STREAMS[name]) * spread.sum(axis=0))
    if not SHARING[name].over_takes:
        return np.asarray(_standardised(_normal(name, (DRAWS, len(spread)))) @ spread)
    if name is ComponentName.MICROPHONE:
        return np.asarray(_microphone(errors.frequency_hz) * spread.sum(axis=0))
    return np.asarray(shared_draw(name) * spread.sum(axis=0))


def shared_draw(name: ComponentName) -> Floats:
    """The one random number a draw, shape (N, 1), of a component that is shared by everything."""
    streams = [np.ones(DRAWS), *(_normal(other, (DRAWS,)) for other in ComponentName)]
    orthogonal, _ = np.linalg.qr(np.stack(streams, axis=-1))
    column = 1 + _STREAMS[name]
    return np.asarray(orthogonal[:, column : column + 1] * np.sqrt(DRAWS - 1.0))


class _LocalField:
    """Noise and repeat of all takes, drawn block after block from one stream."""

    def __init__(self, errors: TakeErrors) -> None:
        squares = []
        for name in _LOCAL:
            standard = errors.standard_db[name]
            if standard is not None:
                common = shared_part(errors, name, standard)
                squares.append(np.square(standard if common is None else standard - common))
        self._standard = np.sqrt(sum(squares)).astype(np.float32) if squares else None
        self._shape = (len(errors.gate_s), len(errors.frequency_hz))
        lengths = np.unique(errors.gate_s)
        self._groups = [
            (np.flatnonzero(errors.gate_s == gate), _knots(errors.frequency_hz, float(gate)))
            for gate in lengths
        ]
        self._random = np.random.default_rng([SEED, _STREAMS[ComponentName.NOISE]])

    def draw(self, count: int) -> Singles:
        """The next `count` draws, shape (count, T, F)."""
        field = np.zeros((count, *self._shape), dtype=np.float32)
        if self._standard is None:
            return field
        for rows, knots in self._groups:
            random = self._random.standard_normal((count * len(rows), len(knots)), dtype=np.float32)
            field[:, rows] = (random @ knots).reshape(count, len(rows), -1)
        field *= self._standard
        return field


def _shared_terms(errors: TakeErrors) -> list[tuple[Singles, Singles]]:
    """Pairs of random factors (N, T or 1, F or 1) and standard uncertainties (T, F)."""
    terms: list[tuple[Singles, Singles]] = []
    for name in errors.stated:
        standard = errors.standard_db[name]
        if name in _LOCAL or standard is None or not standard.any():
            continue
        single = standard.astype(np.float32)
        if name is ComponentName.MICROPHONE:
            factor = _microphone(errors.frequency_hz)[:, None, :]
        elif name is ComponentName.GATE:
            factor = _over_gate(errors, _STREAMS[name])[:, None, :]
        elif SHARING[name].over_takes:
            factor = shared_draw(name)[:, :, None]
        else:
            factor = _standardised(_normal(name, (DRAWS, len(single))))[:, :, None]
        terms.append((factor.astype(np.float32), single))
    noise = errors.standard_db[ComponentName.NOISE]
    common = None if noise is None else shared_part(errors, ComponentName.NOISE, noise)
    if common is not None:
        factor = _over_gate(errors, _COMMON_STREAM)[:, None, :]
        terms.append((factor.astype(np.float32), common.astype(np.float32)))
    return terms


def _normal(name: ComponentName, shape: tuple[int, ...]) -> Floats:
    return np.random.default_rng([SEED, _STREAMS[name]]).standard_normal(shape)


def _over_gate(errors: TakeErrors, stream: int) -> Floats:
    """Unit noise, shape (N, F), that varies over frequency as fast as the longest gate lets it."""
    knots = _knots(errors.frequency_hz, float(errors.gate_s.max(initial=0.0)))
    random = np.random.default_rng([SEED, stream]).standard_normal((DRAWS, len(knots)))
    return _standardised(random @ knots)


def _knots(frequency_hz: Floats, gate_s: float) -> Singles:
    """Weights (K, F) that join white numbers at knots 1/T apart into unit noise on the grid.

    Straight lines between the knots, raised to unit variance; without a gate one knot a point.
    """
    if gate_s <= 0:
        return np.eye(len(frequency_hz), dtype=np.float32)
    place = frequency_hz * gate_s
    left = np.floor(place).astype(int)
    part = place - left
    first = left[0]
    weights = np.zeros((left[-1] - first + 2, len(frequency_hz)))
    column = np.arange(len(frequency_hz))
    weights[left - first, column] = 1.0 - part
    weights[left - first + 1, column] = part
    return np.asarray(weights / np.linalg.norm(weights, axis=0), dtype=np.float32)


def _microphone(frequency_hz: Floats) -> Floats:
    """Unit noise, shape (N, F), whose correlation is exp(−(d/w)²) over d octaves, w = `MICROPHONE_OCTAVES`.

    White numbers at knots a quarter of w apart under a Gaussian of half the width.
    """
    octave = np.log2(frequency_hz)
    knots = np.arange(
        octave[0] - 2 * MICROPHONE_OCTAVES, octave[-1] + 2 * MICROPHONE_OCTAVES, 0.25 * MICROPHONE_OCTAVES
    )
    kernel = np.exp(-2.0 * ((knots[:, None] - octave) / MICROPHONE_OCTAVES) ** 2)
    kernel /= np.linalg.norm(kernel, axis=0)
    return _standardised(_normal(ComponentName.MICROPHONE, (DRAWS, len(knots))) @ kernel)


def _standardised(random: Floats) -> Floats:
    """Columns over the draws with mean zero and unit variance."""
    centred = random - random.mean(axis=0)
    return np.asarray(centred / centred.std(axis=0, ddof=1))
