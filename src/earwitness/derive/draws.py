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
#: Octaves in which the correlation of a broad error falls to 1/e: the microphone's, and what changes from one
#: repeat to the next (place, level, temperature).
BROAD_OCTAVES: Final = 1.0
#: Draws made at a time.
BLOCK: Final = 4

Singles = npt.NDArray[np.float32]

_NEPER_PER_DB: Final = np.float32(np.log(10.0) / 10.0)
#: Each component's stream, and that of the noise that takes share through a common near-field take. A number
#: stays with its name for good: another one would draw other errors.
_STREAMS: Final = {
    ComponentName.NOISE: 0,
    ComponentName.REPEAT: 1,
    ComponentName.MICROPHONE: 2,
    ComponentName.LEVEL: 3,
    ComponentName.ANGLE: 4,
    ComponentName.GATE: 5,
    ComponentName.SPLICE: 6,
    ComponentName.TEMPERATURE: 7,
    ComponentName.SAMPLING: 8,
    ComponentName.FIT: 9,
    ComponentName.INTERPOLATION: 11,
    ComponentName.SEPARATION: 12,
}
_COMMON_STREAM: Final = 10
#: Components that vary over frequency and from take to take.
_LOCAL: Final = (ComponentName.NOISE, ComponentName.REPEAT)
#: Components whose error changes slowly over frequency.
_BROAD: Final = (ComponentName.MICROPHONE, ComponentName.REPEAT)


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
    independent from take to take the sum is drawn; noise with the correlation of the longest gate.
    """
    standard = errors.standard_db[name]
    if standard is None or not errors.known(name, sensitivity):
        return None
    spread = sensitivity * standard
    if name is ComponentName.NOISE:
        return _noise_draws_db(errors, spread)
    alike = spread.sum(axis=0) if SHARING[name].over_takes else np.sqrt((spread**2).sum(axis=0))
    if name in _BROAD:
        return np.asarray(_broad(errors.frequency_hz, name) * alike)
    if name is ComponentName.GATE:
        return np.asarray(_over_gate(errors, _STREAMS[name]) * alike)
    if SHARING[name].over_takes:
        return np.asarray(shared_draw(name) * alike)
    return np.asarray(_standardised(_normal(name, (DRAWS, len(spread)))) @ spread)


def _noise_draws_db(errors: TakeErrors, spread: Floats) -> Floats:
    """Draws of noise: each take's own, and what takes share through a common near field."""
    common = shared_part(errors, ComponentName.NOISE, spread)
    own = spread if common is None else spread - common
    draws = _over_gate(errors, _STREAMS[ComponentName.NOISE]) * np.sqrt((own**2).sum(axis=0))
    if common is None:
        return np.asarray(draws)
    return np.asarray(draws + _over_gate(errors, _COMMON_STREAM) * common.sum(axis=0))


def shared_draw(name: ComponentName) -> Floats:
    """The one random number a draw, shape (N, 1), of a component that is shared by everything."""
    streams = [np.ones(DRAWS), *(_normal(other, (DRAWS,)) for other in _STREAMS)]
    orthogonal, _ = np.linalg.qr(np.stack(streams, axis=-1))
    column = 1 + list(_STREAMS).index(name)
    return np.asarray(orthogonal[:, column : column + 1] * np.sqrt(DRAWS - 1.0))


@dataclass(frozen=True)
class _Layer:
    """An error of some takes that is drawn for each of them apart, from white numbers at knots (K, F)."""

    rows: npt.NDArray[np.intp]
    knots: Singles
    standard: Singles
    random: np.random.Generator


class _LocalField:
    """Noise and repeat of all takes, drawn block after block."""

    def __init__(self, errors: TakeErrors) -> None:
        self._shape = (len(errors.gate_s), len(errors.frequency_hz))
        self._layers = [*_noise_layers(errors), *_repeat_layers(errors)]

    def draw(self, count: int) -> Singles:
        """The next `count` draws, shape (count, T, F)."""
        field = np.zeros((count, *self._shape), dtype=np.float32)
        for layer in self._layers:
            white = layer.random.standard_normal(
                (count * len(layer.rows), len(layer.knots)), dtype=np.float32
            )
            drawn = (white @ layer.knots).reshape(count, len(layer.rows), -1)
            field[:, layer.rows] += drawn * layer.standard
        return field


def _noise_layers(errors: TakeErrors) -> list[_Layer]:
    """Noise varies over frequency as fast as each take's gate lets it."""
    standard = errors.standard_db[ComponentName.NOISE]
    if standard is None:
        return []
    common = shared_part(errors, ComponentName.NOISE, standard)
    own = (standard if common is None else standard - common).astype(np.float32)
    random = np.random.default_rng([SEED, _STREAMS[ComponentName.NOISE]])
    layers = []
    for gate in np.unique(errors.gate_s):
        rows = np.flatnonzero(errors.gate_s == gate)
        layers.append(_Layer(rows, _knots(errors.frequency_hz, float(gate)), own[rows], random))
    return layers


def _repeat_layers(errors: TakeErrors) -> list[_Layer]:
    """What changes from one repeat to the next moves a response broadly."""
    standard = errors.standard_db[ComponentName.REPEAT]
    if standard is None:
        return []
    random = np.random.default_rng([SEED, _STREAMS[ComponentName.REPEAT]])
    knots = _broad_knots(errors.frequency_hz).astype(np.float32)
    return [_Layer(np.arange(len(standard)), knots, standard.astype(np.float32), random)]


def _shared_terms(errors: TakeErrors) -> list[tuple[Singles, Singles]]:
    """Pairs of random factors (N, T or 1, F or 1) and standard uncertainties (T, F)."""
    terms: list[tuple[Singles, Singles]] = []
    for name in errors.stated:
        standard = errors.standard_db[name]
        if name in _LOCAL or standard is None or not standard.any():
            continue
        single = standard.astype(np.float32)
        if name is ComponentName.MICROPHONE:
            factor = _broad(errors.frequency_hz, name)[:, None, :]
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


def _broad(frequency_hz: Floats, name: ComponentName) -> Floats:
    """Unit noise, shape (N, F), whose correlation is exp(−(d/w)²) over d octaves, w = `BROAD_OCTAVES`."""
    knots = _broad_knots(frequency_hz)
    return _standardised(_normal(name, (DRAWS, len(knots))) @ knots)


def _broad_knots(frequency_hz: Floats) -> Floats:
    """Weights (K, F) of white numbers at knots a quarter of w apart: a Gaussian of half the width."""
    octave = np.log2(frequency_hz)
    margin, step = 2 * BROAD_OCTAVES, 0.25 * BROAD_OCTAVES
    knots = np.arange(octave[0] - margin, octave[-1] + margin, step)
    kernel = np.exp(-2.0 * ((knots[:, None] - octave) / BROAD_OCTAVES) ** 2)
    return np.asarray(kernel / np.linalg.norm(kernel, axis=0))


def _standardised(random: Floats) -> Floats:
    """Columns over the draws with mean zero and unit variance."""
    centred = random - random.mean(axis=0)
    return np.asarray(centred / centred.std(axis=0, ddof=1))
