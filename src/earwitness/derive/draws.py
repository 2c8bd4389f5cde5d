"""Seeded draws of the takes' errors, and what becomes of weighted means under them.

Each component has a random stream of its own, so that stating one more leaves the others as they were. Random
numbers that are shared over frequency are centred, scaled to unit variance and made orthogonal between the
components, so that with few draws, too, the spread of a stated 0.2 dB is 0.2 dB.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.pooling import BROAD_OCTAVES
from earwitness.derive.uncertainty import TakeErrors, orbit_parts, shared_part
from earwitness.records.grid import Floats
from earwitness.records.uncertainty import SHARING, ComponentName

DRAWS: Final = 128
SEED: Final = 20_150

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
    ComponentName.AIR: 14,
}
#: Streams of what takes share through a common near-field take.
_COMMON_STREAMS: Final = {ComponentName.NOISE: 10, ComponentName.REPEAT: 13}
#: Streams of what the takes of each orbit share.
_ORBIT_STREAMS: Final = (15, 16)
#: Components whose error changes slowly over frequency: the microphone's, and what changes from one repeat to
#: the next (place, level, temperature). Their correlation falls to 1/e in `BROAD_OCTAVES`.
_BROAD: Final = (ComponentName.MICROPHONE, ComponentName.REPEAT)
#: Components that change over frequency as fast as a gate lets them.
_OVER_GATE: Final = (ComponentName.NOISE, ComponentName.GATE)


@dataclass(frozen=True)
class Drawn:
    """N draws at every n-th frequency, F' of them.

    Attributes
    ----------
    power
        Shape (N, C, F'): the weighted means.
    error_db
        Shape (N, T, F'): the takes' errors.
    """

    power: Singles
    error_db: Singles


@dataclass(frozen=True)
class UnitDraws:
    """Draws of unit variance, (N, F) or (N, 1), of what takes have in common; each is made once."""

    errors: TakeErrors
    _made: dict[tuple[ComponentName, int], Floats] = field(default_factory=dict)

    def of(self, name: ComponentName, stream: int | None = None) -> Floats:
        """Draws of a component; of another `stream` independent ones."""
        key = (name, _STREAMS[name] if stream is None else stream)
        if key not in self._made:
            self._made[key] = self._draw(*key)
        return self._made[key]

    def common(self, name: ComponentName) -> Floats:
        """Draws of what takes share of a component through a common near-field take."""
        return self.of(name, _COMMON_STREAMS[name])

    def orbits(self) -> tuple[Floats, ...]:
        """Draws of what the takes of each orbit share of how well they repeat."""
        streams = _ORBIT_STREAMS[: len(self.errors.by_orbit)]
        return tuple(self.of(ComponentName.REPEAT, stream) for stream in streams)

    def _draw(self, name: ComponentName, stream: int) -> Floats:
        frequency_hz = self.errors.frequency_hz
        if name in _BROAD:
            knots = _broad_knots(frequency_hz)
        elif name in _OVER_GATE:
            knots = _knots(frequency_hz, float(self.errors.gate_s.max(initial=0.0)))
        else:
            return shared_draw(name)
        return _standardised(
            np.random.default_rng([SEED, stream]).standard_normal((DRAWS, len(knots))) @ knots
        )


def draw(errors: TakeErrors, units: UnitDraws, power: Floats, weights: Floats, every: int) -> Drawn:
    """Draw the errors of all takes and form the weighted means under them, at every n-th frequency.

    Parameters
    ----------
    power
        Mean square pressure of the takes, shape (T, F).
    weights
        Shape (C, T).
    """
    kept = slice(None, None, every)
    error = np.zeros((DRAWS, *power[:, kept].shape), dtype=np.float32)
    for layer in (*_noise_layers(errors, kept), *_repeat_layers(errors, kept)):
        white = layer.random.standard_normal((DRAWS * len(layer.rows), len(layer.knots)), dtype=np.float32)
        drawn = (white @ layer.knots).reshape(DRAWS, len(layer.rows), -1)
        error[:, layer.rows] += drawn * layer.standard
    for factor, standard in _shared_terms(errors, units, kept):
        error += factor * standard
    drawn_power = power[:, kept].astype(np.float32) * np.exp(error * _NEPER_PER_DB)
    return Drawn(np.matmul(weights.astype(np.float32), drawn_power), error)


def draw_component_db(
    errors: TakeErrors, units: UnitDraws, name: ComponentName, sensitivity: Floats
) -> Floats | None:
    """Draws of one component's error on a curve, dB, shape (N, F); None where it isn't known.

    To first order: the takes' errors along the curve's `sensitivity` (T, F) to each. Of errors that are
    independent from take to take the sum is drawn; noise with the correlation of the longest gate.
    """
    standard = errors.standard_db[name]
    if standard is None or not errors.known(name, sensitivity):
        return None
    spread = sensitivity * standard
    if SHARING[name].over_takes:
        return np.asarray(units.of(name) * spread.sum(axis=0))
    if name not in _BROAD and name not in _OVER_GATE:
        return np.asarray(_of_takes(name, len(spread)) @ spread)
    common = shared_part(errors, name, spread)
    own = spread if common is None else spread - common
    draws = units.of(name) * np.sqrt((own**2).sum(axis=0))
    if common is not None:
        draws = draws + units.common(name) * common.sum(axis=0)
    for unit, part in zip(units.orbits(), orbit_parts(errors, name, sensitivity), strict=False):
        draws = draws + unit * part
    return np.asarray(draws)


def shared_draw(name: ComponentName) -> Floats:
    """The one random number a draw, shape (N, 1), of a component that is shared by everything."""
    streams = [np.ones(DRAWS), *(_normal(other, (DRAWS,)) for other in _STREAMS)]
    orthogonal, _ = np.linalg.qr(np.stack(streams, axis=-1))
    column = 1 + list(_STREAMS).index(name)
    return np.asarray(orthogonal[:, column : column + 1] * np.sqrt(DRAWS - 1.0))


@dataclass(frozen=True)
class _Layer:
    """An error of some takes that is drawn for each of them apart, from white numbers at knots (K, F')."""

    rows: npt.NDArray[np.intp]
    knots: Singles
    standard: Singles
    random: np.random.Generator


def _noise_layers(errors: TakeErrors, kept: slice) -> list[_Layer]:
    """Noise varies over frequency as fast as each take's gate lets it."""
    own = _own_part(errors, ComponentName.NOISE)
    if own is None:
        return []
    random = np.random.default_rng([SEED, _STREAMS[ComponentName.NOISE]])
    layers = []
    for gate in np.unique(errors.gate_s):
        rows = np.flatnonzero(errors.gate_s == gate)
        knots = _knots(errors.frequency_hz[kept], float(gate)).astype(np.float32)
        layers.append(_Layer(rows, knots, own[rows, kept], random))
    return layers


def _repeat_layers(errors: TakeErrors, kept: slice) -> list[_Layer]:
    """What changes from one repeat to the next moves a response broadly."""
    own = _own_part(errors, ComponentName.REPEAT)
    if own is None:
        return []
    random = np.random.default_rng([SEED, _STREAMS[ComponentName.REPEAT]])
    knots = _broad_knots(errors.frequency_hz)[:, kept].astype(np.float32)
    return [_Layer(np.arange(len(own)), knots, own[:, kept], random)]


def _own_part(errors: TakeErrors, name: ComponentName) -> Singles | None:
    """What each take has for itself of a component, shape (T, F); None where it isn't known."""
    standard = errors.standard_db[name]
    if standard is None:
        return None
    common = shared_part(errors, name, standard)
    return (standard if common is None else standard - common).astype(np.float32)


def _shared_terms(errors: TakeErrors, units: UnitDraws, kept: slice) -> list[tuple[Singles, Singles]]:
    """Pairs of random factors (N, T or 1, F' or 1) and standard uncertainties (T, F')."""
    terms = [(unit[:, None, kept], part) for unit, part in zip(units.orbits(), errors.by_orbit, strict=True)]
    for name in errors.stated:
        standard = errors.standard_db[name]
        if standard is None or not standard.any():
            continue
        common = shared_part(errors, name, standard)
        if common is not None:
            terms.append((units.common(name)[:, None, kept], common))
        if SHARING[name].over_takes:
            unit = units.of(name)[:, None, :]
            terms.append((unit if unit.shape[-1] == 1 else unit[..., kept], standard))
        elif name not in _BROAD and name not in _OVER_GATE:
            terms.append((_of_takes(name, len(standard))[:, :, None], standard))
    return [(factor.astype(np.float32), each[:, kept].astype(np.float32)) for factor, each in terms]


def _of_takes(name: ComponentName, takes: int) -> Floats:
    """One random number a draw and take, shape (N, T)."""
    return _standardised(_normal(name, (DRAWS, takes)))


def _normal(name: ComponentName, shape: tuple[int, ...]) -> Floats:
    return np.random.default_rng([SEED, _STREAMS[name]]).standard_normal(shape)


def _knots(frequency_hz: Floats, gate_s: float) -> Floats:
    """Weights (K, F) that join white numbers at knots 1/T apart into unit noise on the grid.

    Straight lines between the knots, raised to unit variance; without a gate one knot a point.
    """
    if gate_s <= 0:
        return np.eye(len(frequency_hz))
    place = frequency_hz * gate_s
    left = np.floor(place).astype(int)
    part = place - left
    first = left[0]
    weights = np.zeros((left[-1] - first + 2, len(frequency_hz)))
    column = np.arange(len(frequency_hz))
    weights[left - first, column] = 1.0 - part
    weights[left - first + 1, column] = part
    return np.asarray(weights / np.linalg.norm(weights, axis=0))


def _broad_knots(frequency_hz: Floats) -> Floats:
    """Weights (K, F) of white numbers at knots a quarter of w apart: a Gaussian of half the width.

    What they make has the correlation exp(−(d/w)²) over d octaves, w = `BROAD_OCTAVES`.
    """
    octave = np.log2(frequency_hz)
    margin, step = 2 * BROAD_OCTAVES, 0.25 * BROAD_OCTAVES
    knots = np.arange(octave[0] - margin, octave[-1] + margin, step)
    kernel = np.exp(-2.0 * ((knots[:, None] - octave) / BROAD_OCTAVES) ** 2)
    return np.asarray(kernel / np.linalg.norm(kernel, axis=0))


def _standardised(random: Floats) -> Floats:
    """Columns over the draws with mean zero and unit variance."""
    centred = random - random.mean(axis=0)
    return np.asarray(centred / centred.std(axis=0, ddof=1))
